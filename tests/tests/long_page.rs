//! Long recordings and long editing, in a real browser.

use lipwright_tests::browser::Browser;
use lipwright_tests::desk::{READY, ROWS, choose, has_line, lines, opened, segments};
use lipwright_tests::lines::{HEARING_RATE, write_line};

/// Rounds of edits that are all taken back, one act a frame, then a plan, after which the page says anew
/// how much memory its program has taken.
const ROUNDS: &str = "((rounds) => {
  window.rounded = false;
  const key = (key, more) => document.body.dispatchEvent(
    new KeyboardEvent('keydown', { key, bubbles: true, cancelable: true, ...more }));
  const frame = () => new Promise(requestAnimationFrame);
  const weighed = () => new Promise((done) => {
    const look = new MutationObserver(() => { look.disconnect(); done(); });
    look.observe(document.body, { attributes: true, attributeFilter: ['data-wasm-bytes'] });
  });
  (async () => {
    for (let i = 0; i < rounds; i += 1) {
      // Merged, deleted, made stronger; every segment behind it gets another number. A blink before the
      // others, and looks.
      for (const act of [['m'], ['Delete'], ['ArrowUp'], ['x'], ['D', { shiftKey: true }]]) {
        key(...act); await frame();
        key('z', { ctrlKey: true }); await frame();
      }
    }
    const planned = weighed();
    key('ArrowUp'); await planned;
    const again = weighed();
    key('z', { ctrlKey: true }); await again;
    window.rounded = true;
  })();
  return true;
})";

/// Blinks and turns on their lane.
const BLINKS: &str = "document.querySelectorAll('[data-testid^=event-][data-time]').length";
/// Rounds in each half.
const MANY: usize = 60;
/// What the second half may take more than the first, bytes: rows made anew with each edit would take 1.3
/// megabytes, chips of twenty blinks made anew one.
const LEFT_BEHIND: f64 = 600_000.0;

async fn rounds(browser: &Browser, count: usize) -> f64 {
    browser.eval(&format!("{ROUNDS}({count})")).await;
    browser.until(&format!("window.rounded && {READY}")).await;
    browser.eval("Number(document.body.dataset.wasmBytes)").await.as_f64().expect("bytes")
}

/// Edits that are taken back leave the line as it was, and as good as nothing in memory.
#[tokio::test(flavor = "multi_thread")]
async fn edits_taken_back_leave_next_to_nothing() {
    let browser = opened().await;
    // The second segment: what is merged and deleted has all the others behind it.
    browser.eval("(document.querySelector('[data-testid=segments]').focus(), true)").await;
    browser.key(&[], fantoccini::key::Key::Home.into()).await;
    browser.key(&[], fantoccini::key::Key::Right.into()).await;
    browser.until(&format!("{ROWS}.some(r => r.ariaSelected === 'true')")).await;
    // Looks to be put on the lane, and chips that each of them moves on by one.
    let look = browser.find("[data-testid=add-look]").await;
    look.select_by_value("smile").await.expect("a look is chosen");
    browser.eval("(document.activeElement.blur(), true)").await;
    browser.key(&[], 'd').await;
    for count in 3..=22 {
        browser.key(&[], 'x').await;
        browser.until(&format!("{BLINKS} === {count}")).await;
        browser.key(&[], fantoccini::key::Key::Right.into()).await;
    }
    browser.key(&[], fantoccini::key::Key::Home.into()).await;
    browser.key(&[], fantoccini::key::Key::Right.into()).await;
    browser.key(&[fantoccini::key::Key::Shift.into()], fantoccini::key::Key::Right.into()).await;
    browser.until(READY).await;
    let before = segments(&browser).await;
    let elements = "document.getElementsByTagName('*').length";
    rounds(&browser, 20).await;
    let first = rounds(&browser, MANY).await;
    let there = browser.eval(elements).await;
    let second = rounds(&browser, MANY).await;
    assert!(second.is_finite() && first > 1e6, "the page says what it has taken: {first}, {second}");
    println!("{MANY} rounds took {} bytes", second - first);
    assert!(second - first <= LEFT_BEHIND, "{MANY} more rounds took {} bytes", second - first);
    assert_eq!(browser.eval(elements).await, there, "no element more than before");
    assert_eq!(segments(&browser).await, before);
    browser.close().await;
}

/// Notes in every frame what the page says of its progress.
const WATCH: &str = "(() => {
  const seen = window.seen = { words: [], shares: [] };
  const add = (list, what) => { if (!list.includes(what)) list.push(what); };
  const look = () => {
    const busy = document.querySelector('.busy');
    if (busy && !busy.hidden) {
      add(seen.words, busy.querySelector('span').textContent);
      const bar = busy.querySelector('progress');
      if (document.body.dataset.status === 'listening' && bar.value > 0) add(seen.shares, bar.value);
    }
    requestAnimationFrame(look);
  };
  look();
  return true;
})()";

/// An hour is brought in, says how far it has come, is called off; a shorter one then goes through.
#[tokio::test(flavor = "multi_thread")]
async fn an_hour_shows_how_far_it_has_come_and_is_called_off() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let (hour, minutes) = (folder.path().join("hour.wav"), folder.path().join("minutes.wav"));
    write_line(&hour, 3600, HEARING_RATE);
    write_line(&minutes, 300, HEARING_RATE);
    let browser = opened().await;
    let (before, names) = (segments(&browser).await, lines(&browser).await);
    browser.eval(WATCH).await;
    choose(&browser, &[&hour]).await;
    has_line(&browser, "hour").await;
    // It listens, and gets on with it.
    browser.until("window.seen.shares.length > 2").await;
    browser.click("[data-testid=cancel]").await;
    browser.until(&format!("{READY} && document.querySelector('.busy').hidden")).await;
    let words = browser.eval("window.seen.words").await;
    for said in ["Opening the recording", "Listening"] {
        assert!(words.as_array().is_some_and(|w| w.iter().any(|w| w == said)), "{said} in {words}");
    }
    // What was there is there, and a line that was not heard can be worked on by hand.
    assert_eq!(lines(&browser).await[..names.len()], names[..]);
    assert_eq!(segments(&browser).await.len(), 1, "an hour of rest");
    browser.eval("((s) => { s.value = '0'; s.dispatchEvent(new Event('change', { bubbles: true })); return true; })(document.querySelector('[data-testid=line]'))").await;
    browser.until(&format!("{READY} && {ROWS}.length > 1")).await;
    assert_eq!(segments(&browser).await, before);
    // A shorter one goes through to its end.
    choose(&browser, &[&minutes]).await;
    has_line(&browser, "minutes").await;
    browser.until(&format!("{READY} && {ROWS}.length > 100")).await;
    let whole = browser.eval("document.querySelector('[data-testid=time]').textContent").await;
    assert!(whole.as_str().is_some_and(|t| t.contains("5:00") || t.contains("300")), "{whole}");
    browser.close().await;
}

/// Clicks "Call off" in the instant at which the page first says that it opens a recording.
const CALL_OFF_AT_ONCE: &str = "(() => {
  window.calledOff = false;
  const busy = document.querySelector('.busy');
  const watch = new MutationObserver(() => {
    if (busy.hidden || busy.querySelector('span').textContent !== 'Opening the recording') return;
    watch.disconnect(); window.calledOff = true; busy.querySelector('button').click();
  });
  watch.observe(busy, { subtree: true, childList: true, characterData: true, attributes: true });
  return true;
})()";

/// Clicks it when the next worker has skimmed the waveform and is still reading.
const CALL_OFF_SKIMMED: &str = "(() => {
  const Before = window.Worker;
  window.Worker = class extends Before {
    constructor(...which) {
      super(...which);
      this.addEventListener('message', (event) => {
        if (window.calledOff || !JSON.parse(event.data.text).Skimmed) return;
        window.calledOff = true; document.querySelector('[data-testid=cancel]').click();
      });
    }
  };
  return true;
})()";

/// While a recording is fetched or read nothing is heard yet: called off, no line of it stays, and the one
/// before is back as it was.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_called_off_while_it_is_read_leaves_no_line() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let browser = opened().await;
    let (before, names) = (segments(&browser).await, lines(&browser).await);
    browser.eval(CALL_OFF_SKIMMED).await;
    browser.eval(CALL_OFF_AT_ONCE).await;
    // At once; the next worker is then the one that is watched.
    for (name, seconds) in [("at once", 60), ("skimmed", 600)] {
        let path = folder.path().join(format!("{name}.wav"));
        write_line(&path, seconds, HEARING_RATE);
        choose(&browser, &[&path]).await;
        browser.until("window.calledOff").await;
        browser.until(&format!("{READY} && {ROWS}.length === {}", before.len())).await;
        assert_eq!(lines(&browser).await, names, "{name}: no line without sound");
        assert_eq!(segments(&browser).await, before, "{name}: the line before is back");
        let said = browser.text("[data-testid=note]").await;
        assert!(said.contains("was not brought in"), "{name}: {said}");
        browser.eval("((window.calledOff = false), true)").await;
    }
    // What was called off does not come after all: let through, the same file is the only one more.
    browser.eval("((window.calledOff = true), true)").await;
    choose(&browser, &[&folder.path().join("at once.wav")]).await;
    has_line(&browser, "at once").await;
    browser.until(&format!("{READY} && {ROWS}.length > 100")).await;
    assert_eq!(lines(&browser).await.len(), names.len() + 1);
    browser.close().await;
}
