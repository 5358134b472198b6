//! What the page's tests read and do over and over: the line on the desk, its segments, its files.

use crate::browser::{Browser, Setup};
use fantoccini::key::Key;
use serde_json::Value;
use std::path::Path;

/// True where the page has nothing to do.
pub const READY: &str = "document.body.dataset.status === 'ready'";
/// The rows of the list of segments.
pub const ROWS: &str = "[...document.querySelectorAll('[data-testid=segments] [role=option]')]";
/// True where all is kept in the browser.
pub const KEPT: &str = "document.body.dataset.kept === 'yes'";

/// One segment as the page lists it.
#[derive(Clone, Debug)]
pub struct Shown {
    /// Where it starts, s.
    pub start: f64,
    /// Where it ends, s.
    pub end: f64,
    /// Its mouth shape.
    pub shape: String,
    /// True if listening again leaves it alone.
    pub locked: bool,
    /// True if it is selected.
    pub chosen: bool,
}

/// The same stretch with the same shape; what is selected or locked is no part of that.
impl PartialEq for Shown {
    fn eq(&self, other: &Self) -> bool {
        (self.start, self.end, &self.shape) == (other.start, other.end, &other.shape)
    }
}

fn shown(rows: &Value) -> Vec<Shown> {
    let number = |v: &Value| v.as_f64().expect("a time");
    let one = |row: &Value| Shown {
        start: number(&row[0]),
        end: number(&row[1]),
        shape: row[2].as_str().expect("a shape").to_owned(),
        locked: row[3] == true,
        chosen: row[4] == true,
    };
    rows.as_array().expect("a list").iter().map(one).collect()
}

fn listing() -> String {
    format!(
        "{ROWS}.map(e => [Number(e.dataset.start), Number(e.dataset.end), e.dataset.shape,
           e.dataset.locked === 'true', e.ariaSelected === 'true'])"
    )
}

/// The segments of the open line.
///
/// # Panics
/// Where the page lists none.
pub async fn segments(browser: &Browser) -> Vec<Shown> {
    shown(&browser.eval(&listing()).await)
}

/// The same, with whether all was kept at that instant.
///
/// # Panics
/// As [`segments`].
pub async fn segments_and_kept(browser: &Browser) -> (Vec<Shown>, bool) {
    let both = browser.eval(&format!("[{}, {KEPT}]", listing())).await;
    (shown(&both[0]), both[1] == true)
}

/// How many segments the open line has.
///
/// # Panics
/// Never: a list has a length.
pub async fn count(browser: &Browser) -> u64 {
    browser.eval(&format!("{ROWS}.length")).await.as_u64().expect("a count")
}

/// Waits for the line to be heard, planned and kept.
pub async fn settled(browser: &Browser) {
    browser.until(&format!("{READY} && {ROWS}.length > 1 && {KEPT}")).await;
}

/// The demonstration in a fresh browser, heard, planned and kept.
pub async fn opened() -> Browser {
    opened_as(Setup::default()).await
}

/// The same in a browser that is set up otherwise.
pub async fn opened_as(setup: Setup) -> Browser {
    let browser = Browser::open_as(setup).await;
    settled(&browser).await;
    browser
}

/// Selects the third segment with the arrow keys and deletes it.
pub async fn delete_one(browser: &Browser) {
    let before = count(browser).await;
    browser.key(&[], Key::Home.into()).await;
    for _ in 0..3 {
        browser.key(&[], Key::Right.into()).await;
    }
    browser.key(&[], Key::Delete.into()).await;
    browser.until(&format!("{ROWS}.length < {before}")).await;
}

/// Opens files the way a person does: through the page's file chooser.
///
/// # Panics
/// Where the driver refuses.
pub async fn choose(browser: &Browser, paths: &[&Path]) {
    let list: Vec<String> = paths.iter().map(|p| p.to_string_lossy().into_owned()).collect();
    let input = browser.find("[data-testid=file]").await;
    input.send_keys(&list.join("\n")).await.expect("the files are chosen");
}

/// Names of the project's lines, in order.
///
/// # Panics
/// Where the page offers none.
pub async fn lines(browser: &Browser) -> Vec<String> {
    let names = browser
        .eval("[...document.querySelector('[data-testid=line]').options].map(o => o.textContent)")
        .await;
    names.as_array().expect("a list").iter().filter_map(|n| n.as_str().map(str::to_owned)).collect()
}

fn quoted(text: &str) -> String {
    Value::from(text).to_string()
}

/// Waits until the project has a line of this name.
pub async fn has_line(browser: &Browser, name: &str) {
    browser
        .until(&format!(
            "[...document.querySelector('[data-testid=line]').options].some(o => o.textContent === {})",
            quoted(name)
        ))
        .await;
}

/// Waits until the page says these words of what went wrong.
pub async fn error_says(browser: &Browser, words: &str) {
    browser
        .until(&format!(
            "(document.querySelector('[data-testid=error]')?.textContent ?? '').includes({})",
            quoted(words)
        ))
        .await;
}

/// Puts what went wrong away.
pub async fn dismiss(browser: &Browser) {
    browser.click("[data-testid=error] button").await;
    browser.until("!document.querySelector('[data-testid=error]')").await;
}
