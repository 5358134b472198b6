//! How quickly a ten-minute recording is there, and how smoothly the line is dragged, zoomed, scrolled and
//! played with every lane open: part of `make bench`.
//!
//! Printed first: the time from the choice of a ten-minute 48 kHz WAV to its waveform, to its mouth shapes
//! and to its plan, and what took how long (the stages overlap: the page works beside its worker).
//! Then, for each thing done: the time from one animation frame to the next, median and 95th percentile, over
//! a few seconds in which every frame has something to do. The events are made in the page, one a frame, so that
//! the driver's own pace does not count; the browser draws without a GPU.

use lipwright_tests::browser::Browser;
use lipwright_tests::lines::open_long_line;
use serde_json::Value;

const SECONDS: usize = 600;
const FRAMES: usize = 150;

/// Looks in every frame how far a file that is brought in has come. A column of the waveform is drawn where
/// its colour six pixels above the middle is another than near the top of the lane.
const WATCH: &str = "(() => {
  const times = window.dropTimes = {};
  document.addEventListener('change', (event) => {
    if (event.target.id === 'file') times.drop = performance.now();
  }, { capture: true });
  const share = (from, to) => {
    const canvas = document.querySelector('[data-testid=lane-wave]');
    if (!canvas || canvas.width < 100) return 0;
    const context = canvas.getContext('2d');
    const left = Math.round(canvas.width * from), count = Math.round(canvas.width * (to - from));
    const row = (y) => context.getImageData(left, y, count, 1).data;
    const top = row(2), wave = row(Math.round(canvas.height / 2) - 6);
    let drawn = 0;
    for (let i = 0; i < count; i += 1) if (top[4 * i] !== wave[4 * i]) drawn += 1;
    return drawn / count;
  };
  const look = () => {
    const note = (name, seen) => { if (times[name] === undefined && seen) times[name] = performance.now(); };
    if (times.drop !== undefined) {
      note('empty', share(0, 0.98) < 0.05);
      if (times.empty !== undefined) {
        note('begins', share(0, 0.04) > 0.5);
        note('wave', share(0.9, 0.97) > 0.5);
        note('shapes', document.querySelectorAll('[data-testid=segments] [role=option]').length > 100);
      }
      if (times.shapes !== undefined) note('planned', document.body.dataset.status === 'ready');
    }
    if (times.planned === undefined) requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
  return true;
})()";

/// Prints how long it took from the choice of the file, and what the time went into.
async fn dropped(browser: &Browser) {
    browser.until("window.dropTimes.planned !== undefined").await;
    let times = browser.eval("window.dropTimes").await;
    let since = |name: &str| {
        (times[name].as_f64().unwrap_or(f64::NAN) - times["drop"].as_f64().unwrap_or(f64::NAN)) / 1e3
    };
    println!("in Chromium, from the choice of a ten-minute 48 kHz WAV:");
    for (name, what) in [
        ("begins", "waveform begins"),
        ("wave", "waveform drawn to its end"),
        ("shapes", "mouth shapes shown"),
        ("planned", "motion planned"),
    ] {
        println!("  {what:<34} {:>6.2} s", since(name));
    }
    let stages = browser
        .eval(
            "(() => { const sums = {};
               for (const m of performance.getEntriesByType('measure')) {
                 if (m.name.startsWith('lipwright: ') && m.startTime >= window.dropTimes.drop)
                   sums[m.name.slice(11)] = (sums[m.name.slice(11)] ?? 0) + m.duration; }
               return Object.entries(sums); })()",
        )
        .await;
    for stage in stages.as_array().expect("a list") {
        let (name, ms) = (stage[0].as_str().unwrap_or(""), stage[1].as_f64().unwrap_or(f64::NAN));
        println!("    of it {name:<28} {:>6.2} s, {:>3.0} %", ms / 1e3, ms / 10.0 / since("planned"));
    }
}

/// Runs `act(i)` once a frame for so many frames, and keeps the times between frames.
const MEASURE: &str =
    "(window.measure = (act) => { window.measured = null; const gaps = []; let last = 0, i = 0;
  const step = (now) => { if (last) gaps.push(now - last); last = now;
    if (i < FRAMES) { act(i); i += 1; requestAnimationFrame(step); } else { window.measured = gaps; } };
  requestAnimationFrame(step); return true; }, true)";

async fn measured(browser: &Browser, what: &str, act: &str) {
    browser.eval(&format!("window.measure({act})")).await;
    browser.until("window.measured !== null").await;
    let gaps = browser.eval("window.measured").await;
    let mut gaps: Vec<f64> = gaps.as_array().expect("a list").iter().filter_map(Value::as_f64).collect();
    gaps.sort_by(f64::total_cmp);
    let at = |share: f64| gaps[((gaps.len() - 1) as f64 * share).round() as usize];
    println!(
        "  {what:<34} median {:>6.1} ms, 95th percentile {:>6.1} ms, most {:>6.1} ms",
        at(0.5),
        at(0.95),
        at(1.0)
    );
}

#[tokio::main]
async fn main() {
    let browser = open_long_line(SECONDS, WATCH).await;
    dropped(&browser).await;
    browser.eval(&MEASURE.replace("FRAMES", &FRAMES.to_string())).await;
    // Events on the lanes, at a share of their width.
    browser
        .eval(
            "(window.lane = document.querySelector('[data-testid=lane-shapes]').parentElement,
              window.at = (type, name, share, more) => { const r = lane.getBoundingClientRect();
                lane.dispatchEvent(new window[type](name, { bubbles: true, cancelable: true, button: 0, pointerId: 1,
                  clientX: r.left + r.width * share, clientY: r.top + r.height / 2, ...more })); }, true)",
        )
        .await;
    println!("in Chromium without a GPU, ten-minute line, every lane open, from frame to frame:");
    measured(&browser, "nothing to do", "() => {}").await;
    let wheel = |delta: &str| format!("at('WheelEvent', 'wheel', 0.5, {{ {delta} }})");
    measured(
        &browser,
        "zoom in and out",
        &format!("(i) => {}", wheel("ctrlKey: true, deltaY: Math.floor(i / 50) % 2 ? 40 : -40")),
    )
    .await;
    // About ten seconds in view.
    browser.click("[data-testid=fit]").await;
    for _ in 0..10 {
        browser.click("[data-testid=zoom-in]").await;
    }
    measured(&browser, "scroll", &format!("(i) => {}", wheel("deltaX: i % 100 < 50 ? 25 : -25"))).await;
    // The boundary nearest the middle is taken and swung to and fro.
    browser
        .eval(
            "(window.grip = (() => { const find = () => document.querySelector('.shapes .fill.edge');
               for (let s = 0.3; s < 0.7; s += 0.001) { at('PointerEvent', 'pointermove', s, {}); if (find()) return s; }
               return 0.5; })(), at('PointerEvent', 'pointerdown', grip, { buttons: 1 }), true)",
        )
        .await;
    measured(
        &browser,
        "drag a boundary",
        "(i) => at('PointerEvent', 'pointermove', grip + 0.004 * Math.sin(i / 6), { buttons: 1 })",
    )
    .await;
    browser.eval("(at('PointerEvent', 'pointerup', grip, {}), true)").await;
    browser.until("document.body.dataset.status === 'ready'").await;
    browser.key(&[], ' ').await;
    measured(&browser, "play", "() => {}").await;
    browser.key(&[], ' ').await;
    browser.close().await;
}
