//! What an edit of a ten-minute line, and drawing it, costs in the browser: part of `make bench`.
//!
//! The sample lines, one after another for ten minutes, are opened in the page; then a boundary in the
//! middle is moved again and again with the keyboard. Printed: planning alone, by the worker's clock,
//! for the whole line and after each edit. Then the line plays, and each frame drawn is timed beside ten
//! thousand lines drawn on a plain canvas of the window's size: the page is bound by what a canvas costs.

use lipwright_tests::browser::Browser;
use lipwright_tests::lines::open_long_line;

const SECONDS: usize = 600;
const EDITS: usize = 15;

async fn planned_ms(browser: &Browser) -> f64 {
    let text = browser.eval("document.body.dataset.planMs ?? '0'").await;
    text.as_str().and_then(|t| t.parse().ok()).unwrap_or(f64::NAN)
}

#[tokio::main]
async fn main() {
    let browser = open_long_line(SECONDS, "true").await;
    let whole = planned_ms(&browser).await;
    // The middle of the lane shows the middle of the line.
    browser.click("[data-testid=fit]").await;
    let lane = browser
        .eval(
            "(() => { const r = document.querySelector('[data-testid=lane-shapes]').getBoundingClientRect();
                      return [r.left + r.width / 2, r.top + r.height / 2]; })()",
        )
        .await;
    let at = |i: usize| lane[i].as_f64().expect("a length");
    browser.click_at(at(0), at(1)).await;
    let mut edits = Vec::new();
    for k in 0..EDITS {
        browser.eval("document.body.removeAttribute('data-plan-ms') ?? true").await;
        browser.key(&[], if k % 2 == 0 { ']' } else { '[' }).await;
        browser
            .until("document.body.dataset.planMs !== undefined && document.body.dataset.status === 'ready'")
            .await;
        edits.push(planned_ms(&browser).await);
    }
    edits.sort_by(f64::total_cmp);
    println!(
        "in Chromium, ten-minute line: planned in {:.0} ms; after moving a boundary in the middle, again in",
        whole
    );
    println!(
        "  median {:.1} ms, least {:.1} ms, most {:.1} ms of {EDITS}",
        edits[EDITS / 2],
        edits[0],
        edits[EDITS - 1]
    );
    drawing(&browser).await;
    browser.close().await;
}

/// Times what the page does in each frame while the line plays.
async fn drawing(browser: &Browser) {
    browser
        .eval(
            "(() => { const frame = window.requestAnimationFrame.bind(window); window.drawn = [];
                      window.requestAnimationFrame = work => frame(t => {
                        const start = performance.now(); work(t); window.drawn.push(performance.now() - start);
                      }); return true; })()",
        )
        .await;
    browser.key(&[], ' ').await;
    browser.until("window.drawn.length > 120").await;
    browser.key(&[], ' ').await;
    let plain = browser
        .eval(
            "(() => { const c = document.createElement('canvas'); c.width = innerWidth; c.height = innerHeight;
                      const g = c.getContext('2d'); const start = performance.now();
                      for (let i = 0; i < 10000; i++) { g.beginPath(); g.moveTo(i % 997, i % 611);
                        g.lineTo(i % 613, i % 499); g.stroke(); }
                      g.getImageData(0, 0, 1, 1); return performance.now() - start; })()",
        )
        .await;
    let mut drawn: Vec<f64> = browser
        .eval("window.drawn.slice(20)")
        .await
        .as_array()
        .map(|list| list.iter().filter_map(serde_json::Value::as_f64).collect())
        .unwrap_or_default();
    drawn.sort_by(f64::total_cmp);
    let plain = plain.as_f64().unwrap_or(f64::NAN);
    let middle = drawn.get(drawn.len() / 2).copied().unwrap_or(f64::NAN);
    println!(
        "  drawing while it plays: median {middle:.2} ms a frame, {:.3} x ten thousand plain lines ({plain:.1} ms)",
        middle / plain
    );
}
