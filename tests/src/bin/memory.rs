//! What a long time of editing does to the page's memory.
//!
//!     cargo run -p lipwright-tests --bin memory -- [LENGTH] [A_SECOND] [PAGE]
//!
//! `LENGTH` is so many acts (`9000`) or so much time (`3600s`; `600s` if nothing is said), `A_SECOND` how
//! many acts a second are asked for (8). A page that cannot keep pace makes fewer. `PAGE` is the folder of
//! another build of the page than `dist/`.
//!
//! A ten-minute line is edited at random: segments are chosen and moved, split, merged, deleted, made weaker
//! and stronger, markers set, blinks and turns added; steps are undone and done again; the view is zoomed,
//! the line plays and stops. The events are made in the page. A row of the table every so often: memory of
//! the page's processes (worker, scripts, WebAssembly, canvases and all), memory that the page's program has
//! taken (which WebAssembly never gives back), of it in use (a page built with `--features weigh` says so),
//! memory that the worker's program has taken, what scripts hold, memory of the browser's other processes,
//! elements of the document, and segments and markers of the line.
//!
//! Scripts hold much that nobody uses any longer, and the browser collects it when it likes. So at the start
//! and after every quarter the acts stand still, page and worker are made to collect, and a second table says
//! what is left then, and of which process. Nothing here passes or fails; numbers of a run are kept in
//! `tests/EVIDENCE.md`.

use lipwright_tests::browser::{Browser, Setup};
use lipwright_tests::lines::open_long_line_as;
use std::collections::BTreeMap;
use std::time::Instant;

/// Makes ready to do one act after the other, so many ms apart, and to count them. The same numbers come every
/// time (a linear congruence, Numerical Recipes).
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
  window.act = () => {
    choose();
    let at = random() * whole;
    for (const [share, act] of kinds) { at -= share; if (at < 0) { act(); break; } }
    window.acts += 1;
  };
  window.goOn = () => { window.acting = setInterval(window.act, pause); return true; };
  window.standStill = () => { clearInterval(window.acting); return true; };
  return true;
})";

/// One row of the table.
#[derive(Clone)]
struct Row {
    acts: f64,
    seconds: f64,
    /// Memory by kind of process, bytes.
    processes: BTreeMap<String, u64>,
    taken_mb: f64,
    used_mb: f64,
    worker_mb: f64,
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
                  Number(document.body.dataset.wasmUsed ?? NaN), Number(document.body.dataset.workerBytes ?? NaN),
                  performance.memory?.usedJSHeapSize ?? NaN,
                  document.getElementsByTagName('*').length,
                  parseInt(document.querySelector('.shapes .label small')?.textContent ?? 'NaN'),
                  document.querySelectorAll('.marker').length]",
            )
            .await;
        let number = |i: usize| numbers[i].as_f64().unwrap_or(f64::NAN);
        Self {
            acts: number(0),
            seconds: began.elapsed().as_secs_f64(),
            processes: browser.memory(),
            taken_mb: number(1) / 1e6,
            used_mb: number(2) / 1e6,
            worker_mb: number(3) / 1e6,
            scripts_mb: number(4) / 1e6,
            elements: number(5),
            segments: number(6),
            markers: number(7),
        }
    }

    /// Memory of the processes that show the page.
    fn page_mb(&self) -> f64 {
        self.processes.get(PAGE).map_or(f64::NAN, |b| *b as f64 / 1e6)
    }

    /// Memory of the others.
    fn others_mb(&self) -> f64 {
        self.processes.iter().filter(|(kind, _)| *kind != PAGE).map(|(_, b)| *b as f64 / 1e6).sum()
    }

    fn print(&self) {
        println!(
            "| {:.0} | {:.0} | {:.1} | {:.1} | {} | {:.1} | {:.1} | {:.1} | {:.0} | {:.0} | {:.0} |",
            self.seconds,
            self.acts,
            self.page_mb(),
            self.taken_mb,
            said(self.used_mb, |mb| format!("{mb:.1}")),
            self.worker_mb,
            self.scripts_mb,
            self.others_mb(),
            self.elements,
            self.segments,
            self.markers
        );
    }

    fn print_processes(&self) {
        let all: Vec<String> =
            self.processes.iter().map(|(kind, bytes)| format!("{kind} {:.1}", *bytes as f64 / 1e6)).collect();
        println!("| {:.0} | {:.0} | {} |", self.seconds, self.acts, all.join(", "));
    }
}

/// The kind of process that shows pages.
const PAGE: &str = "renderer";
const HEAD: &str =
    "| s | acts | page, MB | program, MB | of it in use, MB | worker's program, MB | scripts, MB | \
    other processes, MB | elements | segments | markers |
|---|---|---|---|---|---|---|---|---|---|---|";

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

/// What is left when nothing is done and everything has been collected.
async fn at_rest(browser: &Browser, began: Instant) -> Row {
    browser.until("document.body.dataset.status === 'ready'").await;
    // What waits for one collection may be let go by the next; what they free goes back to the system a
    // little later.
    for _ in 0..3 {
        browser.collect_garbage().await;
        tokio::time::sleep(std::time::Duration::from_secs(3)).await;
    }
    Row::read(browser, began).await
}

#[tokio::main]
async fn main() {
    let mut arguments = std::env::args().skip(1);
    let length = arguments.next().unwrap_or_else(|| "600s".to_owned());
    let length = Length::read(&length).expect("a number of acts, or of seconds with an s behind it");
    let rate: f64 = arguments.next().map_or(8.0, |a| a.parse().expect("a number of acts a second"));
    let setup = Setup { page: arguments.next().map(Into::into), ..Setup::default() };
    let browser = open_long_line_as(setup, 600, "true").await;
    println!("in Chromium, a ten-minute line under random acts:\n{HEAD}");
    let began = Instant::now();
    browser.eval("((window.acts = 0), true)").await;
    Row::read(&browser, began).await.print();
    let mut collected = vec![at_rest(&browser, began).await];
    for _ in 0..10 {
        browser.click("[data-testid=zoom-in]").await;
    }
    browser.eval(&format!("{ACTS}({})", 1000.0 / rate)).await;
    browser.eval("window.goOn()").await;
    let mut rows = 1.0;
    while collected.len() <= 4 {
        tokio::time::sleep(std::time::Duration::from_millis(500)).await;
        // What fell over makes no more acts.
        assert!(browser.eval("!document.body.dataset.stopped").await == true, "the page's program stopped");
        let row = Row::read(&browser, began).await;
        if length.over(&row) * ROWS >= rows {
            row.print();
            rows += 1.0;
        }
        if length.over(&row) * 4.0 >= collected.len() as f64 {
            browser.eval("window.standStill()").await;
            collected.push(at_rest(&browser, began).await);
            browser.eval("window.goOn()").await;
        }
    }
    println!("at rest and collected, at the start and after every quarter:\n{HEAD}");
    collected.iter().for_each(Row::print);
    println!("the same by process, MB:\n| s | acts | processes |\n|---|---|---|");
    collected.iter().for_each(Row::print_processes);
    if !collected[0].used_mb.is_finite() {
        println!("what is in use was not counted: that takes a page built with `--features weigh`");
    }
    browser.close().await;
}
