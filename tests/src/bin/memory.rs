//! What a long time of editing does to the page's memory.
//!
//!     cargo run -p lipwright-tests --bin memory -- [LENGTH] [A_SECOND]
//!
//! `LENGTH` is so many acts (`9000`) or so much time (`3600s`; `600s` if nothing is said), `A_SECOND` how
//! many acts a second are asked for (8). A page that cannot keep pace makes fewer.
//!
//! A ten-minute line is edited at random: segments are chosen and moved, split, merged, deleted, made weaker
//! and stronger, markers set, blinks and turns added; steps are undone and done again; the view is zoomed,
//! the line plays and stops. The events are made in the page. A row of the table every so often: memory of
//! the page's processes (worker, scripts, WebAssembly, canvases and all), memory that the page's program has
//! taken (which WebAssembly never gives back), of it in use (a page built with `--features weigh` says so),
//! what its scripts hold, elements of the document, and segments and markers of the line. At the end, the
//! growth by quarters of the time. Nothing here passes or fails; numbers of a run are kept in
//! `tests/EVIDENCE.md`.

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
    [0.5, () => key('k')],
    [0.5, () => key(random() < 0.5 ? 'x' : 'a')],
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

/// One row of the table.
#[derive(Clone, Copy)]
struct Row {
    acts: f64,
    seconds: f64,
    page_mb: f64,
    taken_mb: f64,
    used_mb: f64,
    scripts_mb: f64,
    elements: f64,
    segments: f64,
    markers: f64,
}

impl Row {
    async fn read(browser: &Browser, began: Instant) -> Self {
        let numbers = browser
            .eval(
                "[window.acts, Number(document.body.dataset.wasmBytes ?? NaN),
                  Number(document.body.dataset.wasmUsed ?? NaN), performance.memory?.usedJSHeapSize ?? NaN,
                  document.getElementsByTagName('*').length,
                  parseInt(document.querySelector('.shapes .label small')?.textContent ?? 'NaN'),
                  document.querySelectorAll('.marker').length]",
            )
            .await;
        let number = |i: usize| numbers[i].as_f64().unwrap_or(f64::NAN);
        Self {
            acts: number(0),
            seconds: began.elapsed().as_secs_f64(),
            page_mb: browser.page_memory() as f64 / 1e6,
            taken_mb: number(1) / 1e6,
            used_mb: number(2) / 1e6,
            scripts_mb: number(3) / 1e6,
            elements: number(4),
            segments: number(5),
            markers: number(6),
        }
    }

    fn print(&self) {
        println!(
            "| {:.0} | {:.0} | {:.1} | {:.1} | {} | {:.1} | {:.0} | {:.0} | {:.0} |",
            self.seconds,
            self.acts,
            self.page_mb,
            self.taken_mb,
            said(self.used_mb, |mb| format!("{mb:.1}")),
            self.scripts_mb,
            self.elements,
            self.segments,
            self.markers
        );
    }

    fn growth(&self, since: &Self, part: &str) {
        println!(
            "{part}, {:.0} acts: page {:+.1} MB, program {:+.1} MB, in use {}, scripts {:+.1} MB",
            self.acts - since.acts,
            self.page_mb - since.page_mb,
            self.taken_mb - since.taken_mb,
            said(self.used_mb - since.used_mb, |mb| format!("{mb:+.1} MB")),
            self.scripts_mb - since.scripts_mb
        );
    }
}

/// A number that only a page built with `--features weigh` gives.
fn said(number: f64, form: impl Fn(f64) -> String) -> String {
    if number.is_finite() { form(number) } else { "not counted".to_owned() }
}

/// How long it goes on.
#[derive(Clone, Copy)]
enum Length {
    Acts(f64),
    Seconds(f64),
}

impl Length {
    fn read(text: &str) -> Option<Self> {
        match text.strip_suffix('s') {
            Some(seconds) => seconds.parse().ok().map(Self::Seconds),
            None => text.parse().ok().map(Self::Acts),
        }
    }

    /// How much of it is over, 0 to 1.
    fn over(self, row: &Row) -> f64 {
        match self {
            Self::Acts(acts) => row.acts / acts,
            Self::Seconds(seconds) => row.seconds / seconds,
        }
    }
}

/// So many rows, not counting the first and the last.
const ROWS: f64 = 24.0;

#[tokio::main]
async fn main() {
    let mut arguments = std::env::args().skip(1);
    let length = arguments.next().unwrap_or_else(|| "600s".to_owned());
    let length = Length::read(&length).expect("a number of acts, or of seconds with an s behind it");
    let rate: f64 = arguments.next().map_or(8.0, |a| a.parse().expect("a number of acts a second"));
    let browser = open_long_line(600, "true").await;
    println!("in Chromium, a ten-minute line under random acts:");
    println!(
        "| s | acts | page, MB | program, MB | of it in use, MB | scripts, MB | elements | segments | markers |"
    );
    println!("|---|---|---|---|---|---|---|---|---|");
    let began = Instant::now();
    browser.eval("((window.acts = 0), true)").await;
    let mut rows = vec![Row::read(&browser, began).await];
    rows[0].print();
    for _ in 0..10 {
        browser.click("[data-testid=zoom-in]").await;
    }
    browser.eval(&format!("{ACTS}({})", 1000.0 / rate)).await;
    loop {
        tokio::time::sleep(std::time::Duration::from_millis(500)).await;
        // What fell over makes no more acts.
        assert!(browser.eval("!document.body.dataset.stopped").await == true, "the page's program stopped");
        let row = Row::read(&browser, began).await;
        if length.over(&row) * ROWS >= rows.len() as f64 {
            row.print();
            rows.push(row);
        }
        if length.over(&row) >= 1.0 {
            break;
        }
    }
    browser.eval("(clearInterval(window.acting), true)").await;
    browser.until("document.body.dataset.status !== 'planning'").await;
    tokio::time::sleep(std::time::Duration::from_secs(5)).await;
    println!("at rest:");
    let last = Row::read(&browser, began).await;
    last.print();
    if !last.used_mb.is_finite() {
        println!("what is in use was not counted: that takes a page built with `--features weigh`");
    }
    // By quarters, in the order of the rows; the first row of all is before the first act.
    let mut since = rows[0];
    for quarter in 1..=4 {
        let row = if quarter == 4 { last } else { rows[(rows.len() - 1) * quarter / 4] };
        row.growth(&since, &format!("quarter {quarter}"));
        since = row;
    }
    browser.close().await;
}
