//! The counts by file, and what went unnoticed.

use crate::run::{Outcome, belongs, held, verdicts};
use crate::{FIRST, changes};
use std::collections::BTreeMap;
use std::path::Path;

#[derive(Default)]
struct Count {
    all: usize,
    run: usize,
    noticed: usize,
    endless: usize,
    unnoticed: usize,
    open: usize,
    unreached: usize,
    broken: usize,
    alone: usize,
}

impl Count {
    fn line(&self, name: &str) {
        println!(
            "{name:<28} {:>6} {:>6} {:>8} {:>8} {:>10} {:>10} {:>6} {:>7} {:>6}",
            self.all,
            self.run,
            self.noticed,
            self.endless,
            self.unnoticed,
            self.unreached,
            self.open,
            self.broken,
            self.alone
        );
    }
}

/// Prints a table, and the changes that nothing noticed into `place/unnoticed.txt`.
pub fn report(list: &Path, place: &Path) -> Result<(), String> {
    let (list, held, verdicts) = (changes(list)?, held(place)?, verdicts(place));
    let mut counts: BTreeMap<String, Count> = BTreeMap::new();
    let mut left = String::new();
    for (k, change) in list.iter().enumerate() {
        let n = k + FIRST;
        let part = ["linkages", "solver", "rooms"].into_iter().find(|part| belongs(change, part));
        let file = change.file.trim_start_matches("core/src/").to_owned();
        for name in [file, format!("= {}", part.unwrap_or("rooms")), "= together".into()] {
            let count = counts.entry(name).or_default();
            count.all += 1;
            if held.broken.contains(&n) {
                count.broken += 1;
            } else if held.alone.contains(&n) {
                count.alone += 1;
            }
            let Some(verdict) = verdicts.get(&change.name).filter(|_| held.switched.contains(&n)) else {
                continue;
            };
            count.run += 1;
            *match verdict.outcome {
                Outcome::Noticed => &mut count.noticed,
                Outcome::Endless => &mut count.endless,
                Outcome::Unnoticed => &mut count.unnoticed,
                Outcome::Open => &mut count.open,
                Outcome::Unreached => &mut count.unreached,
            } += 1;
        }
        match verdicts.get(&change.name).map(|v| v.outcome) {
            Some(Outcome::Unnoticed) => left += &format!("{}\n", change.name),
            Some(Outcome::Open) => left += &format!("{} (long tests not run)\n", change.name),
            Some(Outcome::Unreached) => left += &format!("{} (unreached)\n", change.name),
            _ => {}
        }
    }
    println!(
        "{:<28} {:>6} {:>6} {:>8} {:>8} {:>10} {:>10} {:>6} {:>7} {:>6}",
        "changes", "all", "run", "noticed", "endless", "unnoticed", "unreached", "open", "broken", "alone"
    );
    counts.iter().for_each(|(name, count)| count.line(name));
    std::fs::write(place.join("unnoticed.txt"), left).map_err(|e| e.to_string())
}

/// Prints the names of changes that take no switch.
pub fn alone(list: &Path, place: &Path) -> Result<(), String> {
    let (list, held) = (changes(list)?, held(place)?);
    held.alone.iter().for_each(|n| println!("{}", list[n - FIRST].name));
    Ok(())
}

/// Prints the names of ten changes with a verdict, drawn by a number.
pub fn sample(list: &Path, place: &Path, seed: &str) -> Result<(), String> {
    let (list, verdicts) = (changes(list)?, verdicts(place));
    let mut state: u64 = seed.parse().map_err(|_| format!("'{seed}' is no number to draw by"))?;
    let judged: Vec<_> = list.iter().filter_map(|c| verdicts.get(&c.name)).collect();
    for _ in 0..10.min(judged.len()) {
        // Knuth's MMIX generator; its high bits are the good ones.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let verdict = judged[(state >> 33) as usize % judged.len()];
        eprintln!("{:?}: {}", verdict.outcome, verdict.name);
        println!("{}", verdict.name);
    }
    Ok(())
}
