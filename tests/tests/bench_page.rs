//! The bench view in a real browser, with the simulated controller at the other end.

use fantoccini::key::Key;
use lipwright_core::bench::{BenchChannel, BenchConfig, SimulatedController};
use lipwright_core::export::ServoTrack;
use lipwright_core::rig::Rig;
use lipwright_core::units::Seconds;
use lipwright_tests::browser::Browser;
use serde_json::Value;
use std::time::{Duration, Instant};

const READY: &str = "document.body.dataset.status === 'ready'";

fn channels() -> Vec<BenchChannel> {
    BenchConfig::new(&Rig::harbourmaster(), "main").expect("the demonstration head has this board").channels
}

fn channel_of(servo: &str) -> usize {
    channels().iter().position(|c| c.name == servo).unwrap_or_else(|| panic!("no servo {servo}"))
}

async fn bench() -> Browser {
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.key(&[], '3').await;
    browser.click("[data-testid=bench-simulate]").await;
    connected(&browser).await;
    browser
}

async fn connected(browser: &Browser) {
    browser
        .until("document.querySelector('[data-testid=bench-state]').textContent.startsWith('Connected')")
        .await;
}

async fn text(browser: &Browser, testid: &str) -> String {
    let value = browser.eval(&format!("document.querySelector('[data-testid={testid}]').textContent")).await;
    value.as_str().expect("text").to_owned()
}

/// Every channel's pulse, in ticks.
async fn pulses(browser: &Browser) -> Vec<u16> {
    let found = browser
        .eval(
            "[...document.querySelectorAll('[data-testid^=bench-pulse-]')].map(e => Number(e.dataset.ticks))",
        )
        .await;
    found.as_array().expect("a list").iter().map(|v| v.as_u64().expect("ticks") as u16).collect()
}

/// Starts noting the time, all pulses and the line's time as fast as the page shows them.
async fn note(browser: &Browser) {
    browser
        .eval(
            "(() => { window.noted = []; clearInterval(window.noting);
               window.noting = setInterval(() => window.noted.push([performance.now() / 1000,
                 [...document.querySelectorAll('[data-testid^=bench-pulse-]')].map(e => Number(e.dataset.ticks)),
                 parseFloat(document.querySelector('[data-testid=bench-time]').textContent)]), 5); return true; })()",
        )
        .await;
}

struct Note {
    clock: f64,
    pulses: Vec<u16>,
    line: f64,
}

async fn noted(browser: &Browser) -> Vec<Note> {
    let found = browser.eval("(clearInterval(window.noting), window.noted)").await;
    let number = |v: &Value| v.as_f64().expect("a number");
    let note = |n: &Value| Note {
        clock: number(&n[0]),
        pulses: n[1].as_array().expect("a list").iter().map(|v| number(v) as u16).collect(),
        line: number(&n[2]),
    };
    found.as_array().expect("a list").iter().map(note).collect()
}

/// No channel moves by more than the ceiling allows between any two notes; the page may show a pulse
/// some frames late, never early.
fn below_ceiling(notes: &[Note], permille: u16) {
    const LATE: f64 = 5.0;
    for (k, channel) in channels().iter().enumerate() {
        for pair in notes.windows(2) {
            let frames = ((pair[1].clock - pair[0].clock) / 0.02).floor() + LATE;
            let moved = f64::from(pair[0].pulses[k].abs_diff(pair[1].pulses[k]));
            let most = f64::from(channel.step(permille)) * frames;
            assert!(moved <= most, "{}: {moved} ticks in {frames} frames, {most} allowed", channel.name);
        }
    }
}

async fn until_pulses(browser: &Browser, what: &str, wanted: impl Fn(&[u16]) -> bool) -> Vec<u16> {
    let start = Instant::now();
    loop {
        let found = pulses(browser).await;
        if wanted(&found) {
            return found;
        }
        assert!(start.elapsed() < Duration::from_secs(60), "not {what}: {found:?}");
        tokio::time::sleep(Duration::from_millis(30)).await;
    }
}

fn at_neutral(pulses: &[u16]) -> bool {
    channels().iter().zip(pulses).all(|(c, p)| c.neutral == *p)
}

/// Raises the ceiling to full with the keyboard, step by step.
async fn raise_to_full(browser: &Browser) {
    browser.find("[data-testid=ceiling]").await.click().await.expect("clicked");
    let start = Instant::now();
    while text(browser, "ceiling-value").await != "100 %" {
        browser.key(&[], Key::End.into()).await;
        tokio::time::sleep(Duration::from_millis(200)).await;
        assert!(start.elapsed() < Duration::from_secs(60), "{}", text(browser, "ceiling-value").await);
    }
    assert!(start.elapsed() > Duration::from_secs(3), "no hand raises it to full at once");
}

#[tokio::test(flavor = "multi_thread")]
async fn sliders_move_the_head_slowly_and_escape_brings_it_back() {
    let browser = bench().await;
    assert_eq!(text(&browser, "ceiling-value").await, "10 %");
    assert!(at_neutral(&pulses(&browser).await));
    let jaw = channel_of("jaw");

    // The jaw wide open, by keyboard.
    note(&browser).await;
    browser
        .client
        .execute("document.querySelector('[data-testid=bench-dof-jaw-open]').focus()", vec![])
        .await
        .expect("focused");
    browser.key(&[], Key::End.into()).await;
    let neutral = channels()[jaw].neutral;
    let full = channels()[jaw].full_step;
    until_pulses(&browser, "open", |p| p[jaw].abs_diff(neutral) > 2 * full).await;
    below_ceiling(&noted(&browser).await, 100);
    assert!(text(&browser, "bench-state").await.contains("following"));

    // Escape: back to neutral, slowly, though a slider has the focus.
    note(&browser).await;
    browser.key(&[], Key::Escape.into()).await;
    until_pulses(&browser, "back at neutral", at_neutral).await;
    below_ceiling(&noted(&browser).await, 100);
    assert!(text(&browser, "bench-state").await.contains("standing"));
    assert_eq!(text(&browser, "bench-lost").await, "0");
    assert_eq!(text(&browser, "bench-damaged").await, "0");

    // The cautions stand where motion leaves the screen.
    let page = text(&browser, "bench-view").await;
    assert!(
        page.contains("Moving jaws and linkages pinch") && page.contains("must cut servo power in hardware")
    );
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_held_button_moves_one_servo_and_a_pulled_cable_brings_it_back() {
    let browser = bench().await;
    let jaw = channel_of("jaw");
    browser.press_for(&format!("[data-testid=hold-{jaw}-longer]"), Duration::from_millis(700)).await;
    tokio::time::sleep(Duration::from_millis(400)).await;
    let held = pulses(&browser).await;
    assert!(held[jaw] > channels()[jaw].neutral, "it moved while held: {held:?}");
    tokio::time::sleep(Duration::from_millis(800)).await;
    assert_eq!(pulses(&browser).await, held, "and stands since it was let go");
    let others =
        channels().into_iter().zip(&held).enumerate().filter(|(i, (c, p))| *i != jaw && c.neutral != **p);
    assert_eq!(others.count(), 0, "all others stood: {held:?}");

    note(&browser).await;
    browser.click("[data-testid=bench-unplug]").await;
    until_pulses(&browser, "back at neutral without a link", at_neutral).await;
    below_ceiling(&noted(&browser).await, 100);
    let why = text(&browser, "bench-faults").await;
    assert!(why.contains("does not answer"), "{why}");
    // Nothing moves by itself once the cable is back: a person connects again.
    browser.click("[data-testid=bench-simulate]").await;
    connected(&browser).await;
    assert_eq!(text(&browser, "ceiling-value").await, "10 %");
    browser.close().await;
}

/// The servo that is being calibrated moves from its own page, too.
#[tokio::test(flavor = "multi_thread")]
async fn the_servo_being_calibrated_moves_while_its_button_is_held() {
    let browser = bench().await;
    browser.key(&[], '2').await;
    browser.click("[data-testid=rig-page-calibrate]").await;
    let jaw = channel_of("jaw");
    let pulse = "parseFloat(document.querySelector('[data-testid=live-pulse]')?.textContent ?? 'NaN')";
    browser.until(&format!("{pulse} > 0")).await;
    // Leaving the bench has stopped whatever moved; the head is at neutral again by now.
    tokio::time::sleep(Duration::from_secs(1)).await;
    let rest = browser.eval(pulse).await.as_f64().expect("a pulse");
    let hold = format!("[data-testid=live-servo] [data-testid=hold-{jaw}-longer]");
    browser.press_for(&hold, Duration::from_millis(900)).await;
    browser.until(&format!("{pulse} > {rest} + 3")).await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_line_plays_on_the_head_in_step_with_its_sound() {
    let browser = bench().await;
    raise_to_full(&browser).await;
    note(&browser).await;
    browser.click("[data-testid=bench-play]").await;
    browser
        .until("document.querySelector('[data-testid=bench-play]').textContent.includes('Stop the line')")
        .await;
    browser
        .until("document.querySelector('[data-testid=bench-play]').textContent.includes('Play on the head')")
        .await;
    let notes = noted(&browser).await;
    until_pulses(&browser, "at rest after the line", at_neutral).await;
    below_ceiling(&notes, 1000);
    assert_eq!(text(&browser, "bench-lost").await, "0");

    // The judge: the track that the page exports for this line.
    browser.key(&[Key::Control.into()], 'e').await;
    browser.click("[data-testid=export-json]").await;
    let path = browser.downloaded(".json").await;
    let track = ServoTrack::from_json(&std::fs::read_to_string(path).expect("the track")).expect("reads");
    let jaw = channel_of("jaw");
    let pulses: Vec<f64> = track.servos()[jaw].pulses().map(|p| p.value() * 2.0).collect();
    let frame_at = |time: f64| {
        let frame = (Seconds::new(time) - track.start()) / track.frame();
        frame.clamp(0.0, (pulses.len() - 1) as f64) as usize
    };
    // The page shows line time and pulses each at its own pace, which a busy machine makes slow: they
    // belong together within two looks at it.
    let looks = notes.windows(2).map(|p| (&p[1], 0.12 + 2.0 * (p[1].clock - p[0].clock)));
    let sounding: Vec<(&Note, f64)> = looks.filter(|(n, _)| n.line > 0.2 && n.line < 5.5).collect();
    // Ten a second at least, or there is nothing to judge.
    assert!(sounding.len() > 50, "{} notes", sounding.len());
    let near = |(n, apart): &&(&Note, f64)| {
        let around = &pulses[frame_at(n.line - apart)..=frame_at(n.line + apart)];
        let low = around.iter().copied().fold(f64::INFINITY, f64::min) - 4.0;
        let high = around.iter().copied().fold(f64::NEG_INFINITY, f64::max) + 4.0;
        (low..=high).contains(&f64::from(n.pulses[jaw]))
    };
    let good = sounding.iter().filter(near).count();
    assert!(good * 100 >= sounding.len() * 95, "{good} of {} notes fit the track", sounding.len());
    let seen: Vec<u16> = sounding.iter().map(|(n, _)| n.pulses[jaw]).collect();
    let span = seen.iter().max().zip(seen.iter().min()).map_or(0, |(a, b)| a - b);
    let whole =
        pulses.iter().copied().fold(0.0, f64::max) - pulses.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(f64::from(span) > 0.8 * whole, "the jaw really moved: {span} of {whole} ticks");
    browser.close().await;
}

/// A serial port that is a list in the page: what it is sent, this test hands to a controller, and
/// back.
const PORT: &str = "(() => {
  window.sent = []; let give;
  const readable = new ReadableStream({ start(c) { give = c; } });
  const writable = new WritableStream({ write(bytes) { window.sent.push(...bytes); } });
  window.deliver = (bytes) => give.enqueue(new Uint8Array(bytes));
  const port = { open: async (o) => { window.baud = o.baudRate; }, close: async () => {}, readable, writable };
  Object.defineProperty(navigator, 'serial', { configurable: true, value: { requestPort: async () => port } });
  return true; })()";

#[tokio::test(flavor = "multi_thread")]
async fn a_serial_port_carries_the_same_talk() {
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.eval(PORT).await;
    browser.key(&[], '3').await;
    let connect = browser.find("[data-testid=bench-serial]").await;
    assert!(!connect.is_enabled().await.expect("known"), "not before the person says that hands are clear");
    browser.click("[data-testid=bench-clear]").await;
    browser.click("[data-testid=bench-serial]").await;
    let config = BenchConfig::new(&Rig::harbourmaster(), "main").expect("the demonstration head");
    let mut board = SimulatedController::new(config);
    let mut said = String::new();
    for _ in 0..400 {
        let sent = browser.eval("window.sent.splice(0)").await;
        let bytes: Vec<u8> =
            sent.as_array().expect("a list").iter().map(|b| b.as_u64().expect("a byte") as u8).collect();
        board.receive(&bytes);
        board.advance(Seconds::new(0.02));
        let back = board.take_output();
        if !back.is_empty() {
            browser.eval(&format!("(window.deliver({back:?}), true)")).await;
        }
        said = text(&browser, "bench-state").await;
        if said.starts_with("Connected: controller") {
            break;
        }
    }
    assert!(said.starts_with("Connected: controller"), "{said}");
    assert_eq!(browser.eval("window.baud").await, 115_200);
    browser.click("[data-testid=bench-disconnect]").await;
    browser
        .until("document.querySelector('[data-testid=bench-state]').textContent === 'Not connected'")
        .await;
    browser.close().await;
}
