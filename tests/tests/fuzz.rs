//! A short run of the fuzzer with a fixed seed; `make fuzz` runs as long as asked with a new one.

use lipwright_tests::fuzz::TARGETS;
use peak_alloc::PeakAlloc;

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

/// One test for all readers: memory is counted for the whole process, so they must not run side by side.
#[test]
fn damaged_files_never_panic_hang_or_swell() {
    for target in TARGETS {
        let tally = target.run(20_261_125, &MEMORY, |t| t.inputs == target.short);
        assert!(tally.faults.is_empty(), "{}", tally.faults.join("\n"));
        assert!(
            tally.taken * 50 > tally.inputs,
            "{}: only {} of {} taken",
            target.name,
            tally.taken,
            tally.inputs
        );
    }
}
