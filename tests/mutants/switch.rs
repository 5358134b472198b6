//! Which change is on: woven into a copy of the program, see `tests/mutants`.

use std::collections::HashSet;
use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering::Relaxed};
use std::sync::{Mutex, OnceLock};

/// Numbers below this one have a meaning of their own.
const UNKNOWN: u32 = 0;
const LOOKING: u32 = 1;
const NONE: u32 = u32::MAX;

static ON: AtomicU32 = AtomicU32::new(UNKNOWN);
static KNOWN: [AtomicBool; 16384] = [const { AtomicBool::new(false) }; 16384];
static SEEN: OnceLock<Mutex<(HashSet<u32>, std::fs::File)>> = OnceLock::new();

/// Whether change `n` is on; says that it is reached.
#[inline(always)]
pub fn is(n: u32) -> bool {
    let on = ON.load(Relaxed);
    if on <= LOOKING { asked(n, on) } else { on == n }
}

/// Whether change `n` is on.
#[inline(always)]
pub fn on(n: u32) -> bool {
    let on = ON.load(Relaxed);
    if on == UNKNOWN { start() == n } else { on == n }
}

/// Whether it is only noted what is reached.
#[inline(always)]
pub fn looking() -> bool {
    let on = ON.load(Relaxed);
    on <= LOOKING && start() == LOOKING
}

#[cold]
#[inline(never)]
fn asked(n: u32, on: u32) -> bool {
    let on = if on == UNKNOWN { start() } else { on };
    if on == LOOKING {
        reached(n);
    }
    on == n
}

#[cold]
fn start() -> u32 {
    let on = match (std::env::var("LIPWRIGHT_CHANGE"), std::env::var("LIPWRIGHT_REACHED")) {
        (Ok(n), _) => n.parse().expect("the number of a change"),
        (_, Ok(_)) => LOOKING,
        _ => NONE,
    };
    ON.store(on, Relaxed);
    on
}

/// Notes that change `n` would have had an effect here.
#[cold]
pub fn reached(n: u32) {
    // Looked at before it is set: looking alone is cheap, and nearly always enough.
    if KNOWN.get(n as usize).is_some_and(|known| known.load(Relaxed) || known.swap(true, Relaxed)) {
        return;
    }
    let seen = SEEN.get_or_init(|| {
        let path = std::env::var("LIPWRIGHT_REACHED").expect("where to write what is reached");
        Mutex::new((HashSet::new(), std::fs::File::create(path).expect("a place to write")))
    });
    let mut seen = seen.lock().unwrap_or_else(|e| e.into_inner());
    if seen.0.insert(n) {
        writeln!(seen.1, "{n}").expect("there is room");
    }
}

/// Notes that change `n` is reached where `changed` is another truth than `original`, or falls over.
#[cold]
pub fn compare(n: u32, original: impl Fn() -> bool, changed: impl Fn() -> bool) {
    if KNOWN.get(n as usize).is_some_and(|known| known.load(Relaxed)) {
        return;
    }
    let changed = catch_unwind(AssertUnwindSafe(changed));
    if changed.ok() != Some(original()) {
        reached(n);
    }
}
