//! What a long time of editing does to the page's memory.
//!
//!     cargo run -p lipwright-tests --bin memory -- [EDITS] [MINUTES]
//!
//! A ten-minute line is edited at random, spread over the minutes (20 000 edits in 10 minutes if not said
//! otherwise): segments are chosen and moved, split, merged, deleted, made weaker and stronger, markers set;
//! steps are undone and done again; the view is zoomed, the line plays and stops. The events are made in
//! the page. Printed every thousand acts and every minute: memory of the page's processes (worker, scripts,
//! WebAssembly, canvases and all), WebAssembly memory of the page alone, and what its scripts hold. Nothing
//! here passes or fails; numbers of a run are kept in `tests/EVIDENCE.md`.

use lipwright_tests::browser::Browser;
use lipwright_tests::lines::open_long_line;
use std::time::Instant;

/// Does one act after the other, so many ms apart, and counts them. The same numbers come every time
/// (a linear congruence, Numerical Recipes).
const ACTS: &str = "((pause) => {
  let seed = 1;
  const random = () => { seed = (Math.imul(seed, 1664525) + 1013904223) >>> 0; return seed / 4294967296; };
  const lane = document.querySelector('[data-testid=lane-shapes]').parentElement;
  const point = (type, name, x, more) => { const r = lane.getBoundingClientRect();
    lane.dispatchEvent(new window[type](name, { bubbles: true, cancelable: true, button: 0, pointerId: 1,
      clientX: r.left + r.width * x, clientY: r.top + r.height / 2, ...more })); };
  const key = (key, more) => document.body.dispatchEvent(
    new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true, ...more }));
  const choose = () => { const x = random(); point('PointerEvent', 'pointermove', x);
    point('PointerEvent', 'pointerdown', x, { buttons: 1 }); point('PointerEvent', 'pointerup', x); };
  const kinds = [
    [30, () => key(random() < 0.5 ? '[' : ']')],
    [10, () => key(random() < 0.5 ? 'ArrowUp' : 'ArrowDown')],
    [12, () => key('s')],
    [6, () => key('m')],
    [6, () => key('Delete')],
    [3, () => key('k')],
    [18, () => key('z', { ctrlKey: true })],
    [10, () => key('y', { ctrlKey: true })],
    [4, () => point('WheelEvent', 'wheel', random(), { ctrlKey: true, deltaY: random() < 0.5 ? 120 : -120 })],
    [1, () => key(' ')],
  ];
  const whole = kinds.reduce((sum, [share]) => sum + share, 0);
  window.acts = 0;
  window.acting = setInterval(() => {
    choose();
    let at = random() * whole;
    for (const [share, act] of kinds) { at -= share; if (at < 0) { act(); break; } }
    window.acts += 1;
  }, pause);
  return true;
})";

async fn report(browser: &Browser, began: Instant) {
    let numbers = browser
        .eval(
            "[window.acts, document.querySelectorAll('[data-testid=segments] [role=option]').length,
              Number(document.body.dataset.wasmBytes ?? NaN), performance.memory?.usedJSHeapSize ?? NaN]",
        )
        .await;
    let number = |i: usize| numbers[i].as_f64().unwrap_or(f64::NAN);
    println!(
        "  {:>6.0} acts, {:>5.0} s: page {:>6.1} MB, of it WebAssembly {:>6.1} MB, scripts {:>5.1} MB",
        number(0),
        began.elapsed().as_secs_f64(),
        browser.page_memory() as f64 / 1e6,
        number(2) / 1e6,
        number(3) / 1e6,
    );
}

#[tokio::main]
async fn main() {
    let mut arguments = std::env::args().skip(1).map(|a| a.parse::<f64>().expect("a number"));
    let edits = arguments.next().unwrap_or(20_000.0);
    let minutes = arguments.next().unwrap_or(10.0);
    let browser = open_long_line(600, "true").await;
    println!("in Chromium, a ten-minute line under random acts:");
    let began = Instant::now();
    browser.eval("((window.acts = 0), true)").await;
    report(&browser, began).await;
    for _ in 0..10 {
        browser.click("[data-testid=zoom-in]").await;
    }
    browser.eval(&format!("{ACTS}({})", minutes * 60_000.0 / edits)).await;
    // A page that cannot keep pace is given twice the time, and no more.
    let patience = minutes * 120.0;
    let mut next = 1_000.0_f64.min(edits);
    let mut told = Instant::now();
    while next <= edits && began.elapsed().as_secs_f64() < patience {
        let reached = browser.eval("window.acts").await.as_f64().unwrap_or(0.0);
        if reached >= next || told.elapsed().as_secs() >= 60 {
            report(&browser, began).await;
            told = Instant::now();
        }
        if reached >= next {
            next += 1_000.0;
        }
        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    }
    browser.eval("(clearInterval(window.acting), true)").await;
    browser.until("document.body.dataset.status !== 'planning'").await;
    tokio::time::sleep(std::time::Duration::from_secs(5)).await;
    println!("at rest:");
    report(&browser, began).await;
    browser.close().await;
}
