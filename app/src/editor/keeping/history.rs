//! Which earlier states of the project stay.

use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// One kept state, without its content.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Number of the state; later ones are greater.
    pub id: u32,
    /// When it was kept, ms since 1970 (UTC).
    pub at_ms: f64,
    /// What had been done.
    pub what: String,
    /// Length of its text, bytes.
    pub size: usize,
    /// The recordings it needs, by hash.
    pub recordings: Vec<String>,
}

/// The newest states of which every one stays.
const RECENT: usize = 30;
/// Of older ones, one in so many ms stays.
const SPARSE_MS: f64 = 120_000.0;
/// No more states than this, and no more text than [`BYTES`].
const COUNT: usize = 120;
/// See [`COUNT`].
const BYTES: usize = 64_000_000;
/// The same thing done again within so many ms makes one state, not two.
const SAME_MS: f64 = 5_000.0;

/// What to take away when a state is added.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plan {
    /// States that go, by number.
    pub states: Vec<u32>,
    /// Recordings that no state needs any longer.
    pub recordings: Vec<String>,
}

/// True if `new` came less than so many ms after `old`. A clock that was set back or forth says nothing of
/// how much later it was: such a pair counts as far apart, so that no state goes that a person may want.
fn near(old: &Entry, new: &Entry, ms: f64) -> bool {
    (0.0..ms).contains(&(new.at_ms - old.at_ms))
}

/// What goes when `new` joins `kept` (in order of time). The newest state before `new` stays unless
/// it was the same thing done a moment ago: what is taken away is never all there is.
#[must_use]
pub fn plan(kept: &[Entry], new: &Entry) -> Plan {
    let mut gone: BTreeSet<u32> = BTreeSet::new();
    if let Some(last) = kept.last()
        && kept.len() > 1
        && last.what == new.what
        && near(last, new, SAME_MS)
    {
        gone.insert(last.id);
    }
    let rest: Vec<&Entry> = kept.iter().filter(|e| !gone.contains(&e.id)).collect();
    // The new state is one of the recent ones.
    let old = rest.len().saturating_sub(RECENT - 1);
    // From the oldest on, so that what once stayed goes on staying.
    let mut last: Option<&Entry> = None;
    let mut stay = Vec::new();
    for (i, entry) in rest.into_iter().enumerate() {
        if i >= old {
            stay.push(entry);
        } else if last.is_none_or(|last| !near(last, entry, SPARSE_MS)) {
            last = Some(entry);
            stay.push(entry);
        }
    }
    let mut bytes = new.size + stay.iter().map(|e| e.size).sum::<usize>();
    let mut first = 0;
    // The newest of them stays, however large.
    while first + 1 < stay.len() && (stay.len() - first >= COUNT || bytes > BYTES) {
        bytes -= stay[first].size;
        first += 1;
    }
    let stays: BTreeSet<u32> = stay[first..].iter().map(|e| e.id).collect();
    gone.extend(kept.iter().map(|e| e.id).filter(|id| !stays.contains(id)));
    let needed: BTreeSet<&String> =
        kept.iter().filter(|e| !gone.contains(&e.id)).chain([new]).flat_map(|e| &e.recordings).collect();
    let lost = kept.iter().filter(|e| gone.contains(&e.id)).flat_map(|e| &e.recordings);
    let recordings: BTreeSet<String> = lost.filter(|r| !needed.contains(r)).cloned().collect();
    Plan { states: gone.into_iter().collect(), recordings: recordings.into_iter().collect() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn entry(id: u32, at_s: f64, what: &str, size: usize, recordings: &[&str]) -> Entry {
        let recordings = recordings.iter().map(|r| (*r).to_owned()).collect();
        Entry { id, at_ms: at_s * 1000.0, what: what.to_owned(), size, recordings }
    }

    /// Keeps one state after the other, as the page does.
    fn run(new: impl IntoIterator<Item = Entry>) -> (Vec<Entry>, BTreeSet<String>) {
        let (mut kept, mut stored) = (Vec::<Entry>::new(), BTreeSet::new());
        for entry in new {
            let plan = plan(&kept, &entry);
            stored.extend(entry.recordings.iter().cloned());
            kept.retain(|e| !plan.states.contains(&e.id));
            stored.retain(|r| !plan.recordings.contains(r));
            kept.push(entry);
        }
        (kept, stored)
    }

    #[test]
    fn a_day_of_edits_leaves_the_newest_all_and_older_ones_sparsely() {
        let (kept, _) =
            run((0..8_000).map(|i| entry(i, f64::from(i) * 3.6, &format!("step {i}"), 1000, &[])));
        let ids: Vec<u32> = kept.iter().map(|e| e.id).collect();
        assert_eq!(ids.last(), Some(&7_999));
        assert!((7_970..8_000).all(|i| ids.contains(&i)), "the newest thirty");
        assert!(kept.len() <= 121, "{}", kept.len());
        let old = &kept[..kept.len() - 31];
        assert!(!old.is_empty());
        assert!(old.windows(2).all(|p| p[1].at_ms - p[0].at_ms >= 120_000.0 - 1.0));
        // 90 states, two minutes apart, reach back three hours.
        assert!(kept[0].at_ms < kept.last().expect("one").at_ms - 2.0 * 3_600_000.0);
    }

    #[test]
    fn the_same_thing_again_is_one_state() {
        let (kept, _) = run([
            entry(1, 0.0, "opened", 10, &[]),
            entry(2, 1.0, "strength", 10, &[]),
            entry(3, 2.0, "strength", 10, &[]),
            entry(4, 3.0, "split", 10, &[]),
            entry(5, 60.0, "split", 10, &[]),
        ]);
        assert_eq!(kept.iter().map(|e| e.id).collect::<Vec<_>>(), [1, 3, 4, 5]);
    }

    /// The clock goes back by a day in the middle of the work, and forth again.
    #[test]
    fn a_clock_that_jumps_takes_no_state_away() {
        let (kept, _) = run([
            entry(1, 90_000.0, "opened", 10, &[]),
            entry(2, 90_001.0, "split", 10, &[]),
            entry(3, 3_600.0, "split", 10, &[]),
            entry(4, 90_007.0, "split", 10, &[]),
        ]);
        assert_eq!(kept.iter().map(|e| e.id).collect::<Vec<_>>(), [1, 2, 3, 4]);
        // An hour of edits, then the clock is set back by two hours: the older ones thin out as ever.
        let (kept, _) = run((0..3_000).map(|i| {
            let at = f64::from(i) * 3.6;
            let at = if i < 1_000 { at + 7_200.0 } else { at };
            entry(i, at, &format!("step {i}"), 1000, &[])
        }));
        let before = kept.iter().filter(|e| e.id < 1_000).count();
        let after = kept.iter().filter(|e| (1_000..2_970).contains(&e.id)).count();
        assert!(before >= 28 && after >= 57, "{before} and {after} of one in 34");
    }

    #[test]
    fn large_states_push_old_ones_out_and_the_last_two_stay() {
        let (kept, stored) = run((0..5).map(|i| {
            let name = format!("r{i}");
            entry(i, f64::from(i), &format!("step {i}"), 50_000_000, &[&name])
        }));
        assert_eq!(kept.iter().map(|e| e.id).collect::<Vec<_>>(), [3, 4]);
        assert_eq!(stored.into_iter().collect::<Vec<_>>(), ["r3", "r4"]);
    }

    proptest! {
        #[test]
        fn what_stays_has_its_recordings_and_nothing_else_is_stored(
            steps in prop::collection::vec((0.1f64..400.0, 0u8..4, 1usize..9_000_000, prop::collection::btree_set("[a-f]", 0..4)), 1..200)
        ) {
            let mut at = 0.0;
            let (kept, stored) = run(steps.iter().enumerate().map(|(i, (pause, what, size, names))| {
                at += pause;
                let names: Vec<&str> = names.iter().map(String::as_str).collect();
                entry(i as u32, at, &what.to_string(), *size, &names)
            }));
            prop_assert_eq!(kept.last().map(|e| e.id), Some(steps.len() as u32 - 1));
            prop_assert!(kept.len() <= COUNT + 1);
            let needed: BTreeSet<String> = kept.iter().flat_map(|e| e.recordings.clone()).collect();
            prop_assert_eq!(needed, stored);
        }
    }
}
