//! From the page to the head: the controller's program leaves the page as a zip, compiles, and plays
//! in simulation what the page's own track says.

use lipwright_core::export::ServoTrack;
use lipwright_core::rig::Rig;
use lipwright_tests::browser::Browser;
use lipwright_tests::controller::{compile, quiet_inputs, servo_pin, simulate};
use std::process::Command;

const READY: &str = "document.body.dataset.status === 'ready'";
/// Largest error of a packed line, and a timer tick, µs.
const TOLERANCE: f64 = 4.0 + 0.5;

#[tokio::test(flavor = "multi_thread")]
async fn the_sketch_from_the_page_plays_what_the_page_planned() {
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.until("document.querySelectorAll('[data-testid=segments] [role=option]').length > 1").await;
    browser.click("[data-testid=export]").await;
    browser.click("[data-testid=export-csv]").await;
    let csv = browser.downloaded(".track.csv").await;
    browser.until(READY).await;
    browser.click("[data-testid=export-sketch]").await;
    let zip = browser.downloaded(".sketch.zip").await;
    let said = browser.eval("document.querySelector('[data-testid=export-done]').textContent").await;
    println!("{said}");

    // Python's own zip reader unpacks it.
    let folder = tempfile::tempdir().expect("a temporary folder");
    let unpacked =
        Command::new("python3").args(["-m", "zipfile", "-e"]).arg(&zip).arg(folder.path()).status();
    assert!(unpacked.expect("python3 runs").success());
    let sketch =
        std::fs::read_dir(folder.path()).expect("readable").next().expect("a folder").expect("readable");
    let built = compile(&sketch.path(), folder.path());

    let text = std::fs::read_to_string(csv).expect("a table");
    let track = ServoTrack::from_csv(&text).expect("a track");
    let rig = Rig::harbourmaster();
    // The head has come to rest before the trigger is pulled.
    let at = 1.4 + 0.2 * rig.servos().len() as f64;
    let script = format!("{}{at} 0 pin E4 0\n{} 0 pin E4 1\n", quiet_inputs(0), at + 0.2);
    let length = track.frames() as f64 * track.frame().value();
    let run = simulate(at + length + 0.5, &script, &[(&built.elf, 0.0)]);
    let mut worst: f64 = 0.0;
    for servo in rig.servos() {
        let planned = track.servos().iter().find(|s| s.name == servo.name).expect("in the track");
        let planned: Vec<f64> = planned.pulses().map(|p| p.value()).collect();
        let pulses = run.pulses(0, &servo_pin(servo.channel));
        // The period that is laid out when the trigger comes still goes out; frame 0 is over with it.
        let first = pulses.iter().position(|p| p.0 > at).expect("pulses after the trigger") + 1;
        let seen = &pulses[first..first + planned.len() - 1];
        for (pulse, wanted) in seen.iter().zip(&planned[1..]) {
            worst = worst.max((pulse.1 - wanted).abs());
        }
    }
    println!("widths within {worst:.2} us of the page's track, {} frames of 16 servos", track.frames());
    assert!(worst <= TOLERANCE + 1e-6, "{worst} us");
    browser.close().await;
}
