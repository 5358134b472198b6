//! How smoothly a ten-minute line is dragged, zoomed, scrolled and played with every lane open: part of
//! `make bench`.
//!
//! Printed for each: the time from one animation frame to the next, median and 95th percentile, over a few
//! seconds in which every frame has something to do. The events are made in the page, one a frame, so that
//! the driver's own pace does not count; the browser draws without a GPU.

use lipwright_tests::browser::Browser;
use lipwright_tests::lines::write_long_line;
use serde_json::Value;

const SECONDS: usize = 600;
const FRAMES: usize = 150;
const ROWS: &str = "document.querySelectorAll('[data-testid=segments] [role=option]').length > 100";

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
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("ten-minutes.wav");
    write_long_line(&path, SECONDS);
    let browser = Browser::open().await;
    browser.until("document.body.dataset.status === 'ready'").await;
    let input = browser.find("[data-testid=file]").await;
    input.send_keys(&path.to_string_lossy()).await.expect("the file is chosen");
    browser.until(&format!("{ROWS} && document.body.dataset.status === 'ready'")).await;
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
