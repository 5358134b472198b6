//! Blinks, turns of the head, held segments, copied looks, words that ripple: in a real browser, by key
//! and by mouse.

use fantoccini::key::Key;
use lipwright_core::export::ServoTrack;
use lipwright_tests::browser::Browser;
use lipwright_tests::command;
use serde_json::Value;

const READY: &str = "document.body.dataset.status === 'ready'";
const HEARD: &str = "document.querySelectorAll('[data-testid=segments] [role=option]').length > 20";

const EVENTS: &str = "document.querySelectorAll('[data-testid^=event-][data-time]').length";

/// The demo line without the blinks that it comes with.
async fn demo() -> Browser {
    let browser = Browser::open().await;
    browser.until(&format!("{READY} && {HEARD} && {EVENTS} === 2")).await;
    for left in [1, 0] {
        browser.eval("(document.querySelector('[data-testid=event-0]').focus(), true)").await;
        browser.key(&[], Key::Delete.into()).await;
        browser.until(&format!("{EVENTS} === {left}")).await;
    }
    browser.until(READY).await;
    browser
}

/// The demo line on another head.
async fn on_rig(name: &str) -> Browser {
    let browser = demo().await;
    let choice = browser.find("[data-testid=rig]").await;
    choice.select_by_label(name).await.expect("a head is chosen");
    browser
        .until(&format!("{READY} && document.querySelector('[data-testid=rig]').value === '{name}'"))
        .await;
    leave(&browser).await;
    browser
}

async fn undo_says(browser: &Browser, step: &str) {
    browser
        .until(&format!("document.querySelector('[data-testid=undo]').textContent.includes('{step}')"))
        .await;
}

/// No field has the keyboard: keys are the page's.
async fn leave(browser: &Browser) {
    browser.eval("(document.activeElement.blur(), true)").await;
}

async fn undo(browser: &Browser) {
    leave(browser).await;
    browser.key(&[Key::Control.into()], 'z').await;
}

/// How far a servo's pulses go from where they begin, in the exported track, which every limit of the
/// rig has been judged by.
async fn swing(browser: &Browser, rig: &str, servo: &str) -> f64 {
    browser.until(READY).await;
    browser.click("[data-testid=export]").await;
    browser.click("[data-testid=export-csv]").await;
    let file = browser.downloaded(".track.csv").await;
    command::run_ok(["verify", &file.to_string_lossy(), "--rig", rig]);
    let track = ServoTrack::from_csv(&std::fs::read_to_string(&file).expect("a table")).expect("a track");
    std::fs::remove_file(file).expect("was there");
    browser.click("[data-testid=dialog-close]").await;
    browser.until("!document.querySelector('dialog[open]')").await;
    let servo = track.servos().iter().find(|s| s.name == servo).expect("a servo of that name");
    let pulses: Vec<f64> = servo.pulses().map(|p| p.value()).collect();
    pulses.iter().fold(0.0, |most, p| f64::max(most, (p - pulses[0]).abs()))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_blink_is_added_by_key_dragged_undone_and_exported() {
    const TIME: &str = "Number(document.querySelector('[data-testid=event-0]')?.dataset.time)";
    let browser = on_rig("Lookout").await;
    assert!(swing(&browser, "lookout", "lids").await < 1.0, "nothing blinks yet");
    browser.key(&[], Key::Home.into()).await;
    browser.key(&[], 'x').await;
    browser.until("document.querySelector('[data-testid=event-0]')?.dataset.event === 'blink'").await;
    undo_says(&browser, "add blink").await;
    let facts = browser.text("[data-testid=event-facts]").await;
    assert!(facts.starts_with("Takes 0."), "the page says how long this head takes: {facts}");
    let moved = swing(&browser, "lookout", "lids").await;
    assert!(moved > 200.0, "the lids moved by {moved} us");

    // Dragged by a hundred pixels, and back by undo.
    let place = browser
        .eval(
            "(() => { const r = document.querySelector('[data-testid=event-0]').getBoundingClientRect();
                      return [r.left + 6, r.top + r.height / 2]; })()",
        )
        .await;
    let at = |i: usize| place[i].as_f64().expect("a length");
    browser.drag((at(0), at(1)), (at(0) + 100.0, at(1))).await;
    browser.until(&format!("{TIME} > 0.1")).await;
    undo_says(&browser, "move blink").await;
    undo(&browser).await;
    browser.until(&format!("{TIME} === 0")).await;

    // By key: two frames on, keeping the focus; then away, and back by undo.
    browser.eval("document.querySelector('[data-testid=event-0]').focus()").await;
    browser.key(&[], Key::Right.into()).await;
    browser
        .until(&format!(
            "Math.abs({TIME} - 0.02) < 1e-6 && document.activeElement?.dataset.testid === 'event-0'"
        ))
        .await;
    browser.key(&[], Key::Right.into()).await;
    browser
        .until(&format!(
            "Math.abs({TIME} - 0.04) < 1e-6 && document.activeElement?.dataset.testid === 'event-0'"
        ))
        .await;
    browser.key(&[], Key::Delete.into()).await;
    browser.until("!document.querySelector('[data-testid=event-0]')").await;
    undo_says(&browser, "delete blink").await;
    undo(&browser).await;
    browser.until(&format!("Math.abs({TIME} - 0.04) < 1e-6")).await;
    browser.until(READY).await;
    browser.close().await;
}

/// Blinks are suggested where the voice pauses, beside the looks, and taken like them.
#[tokio::test(flavor = "multi_thread")]
async fn suggested_blinks_are_taken_one_by_one() {
    const BLINKS: &str =
        "document.querySelectorAll('[data-testid=lane-events] [data-testid^=suggestion-][data-time]').length";
    let browser = on_rig("Lookout").await;
    browser.click("[data-testid=suggest-looks]").await;
    browser.until(&format!("{BLINKS} > 0 && {EVENTS} === 0")).await;
    let count = browser.eval(BLINKS).await.as_u64().expect("a number");
    browser.click("[data-testid=lane-events] [data-testid^=suggestion-][data-time]").await;
    browser.until(&format!("{BLINKS} === {} && {EVENTS} === 1", count - 1)).await;
    browser.until(READY).await;
    undo(&browser).await;
    browser.until(&format!("{BLINKS} === {count} && {EVENTS} === 0")).await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_head_turns_as_far_as_its_neck_lets_it_and_the_list_says_so() {
    const TURN: &str = "document.querySelector('[data-testid=event-0]')?.textContent";
    let browser = demo().await;
    assert!(swing(&browser, "harbourmaster", "neck").await < 1.0);
    browser.key(&[], Key::Home.into()).await;
    browser.click("[data-testid=add-turn]").await;
    browser.until(&format!("{TURN} === 'turn 15° left'")).await;
    undo_says(&browser, "add head turn").await;
    browser.type_over("[data-testid=turn-to]", "-20").await;
    browser.until(&format!("{TURN} === 'turn 20° right'")).await;
    undo_says(&browser, "change head turn").await;
    let moved = swing(&browser, "harbourmaster", "neck").await;
    // 11.11 us a degree, and the track begins where the head looks straight on.
    assert!((moved - 20.0 * 11.11).abs() < 15.0, "the neck moved by {moved} us");
    assert_eq!(
        browser.eval("document.querySelectorAll('[data-testid=problems] [data-kind=event]').length").await,
        0
    );
    browser.type_over("[data-testid=turn-to]", "80").await;
    browser.until("document.querySelector('[data-testid=problems] [data-kind=event]')?.textContent.includes('neck turn 35.0°, wanted 80.0°')").await;
    undo(&browser).await;
    browser.until("!document.querySelector('[data-testid=problems] [data-kind=event]')").await;
    browser.until(READY).await;

    // A head without lids: the button says so, and a key says it, too.
    let choice = browser.find("[data-testid=rig]").await;
    choice.select_by_label("Jaw and lips").await.expect("a head is chosen");
    browser.until("document.querySelector('[data-testid=add-blink]').disabled").await;
    leave(&browser).await;
    browser.key(&[], 'x').await;
    browser.until("document.querySelector('[data-testid=note]').textContent.includes('no eyelids')").await;
    browser.until(READY).await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_segment_is_held_and_looks_are_copied_to_another_line() {
    const HELD: &str = "document.querySelectorAll('[data-testid=segments] [data-held=true]').length";
    const LOOKS: &str = "document.querySelectorAll('[data-testid^=look-][data-time]').length";
    let browser = demo().await;
    browser.key(&[], Key::Home.into()).await;
    browser.key(&[], Key::Right.into()).await;
    browser.key(&[], Key::Right.into()).await;
    browser.until("document.querySelector('[data-testid=segments] [aria-selected=true]') !== null").await;
    browser.key(&[], 'h').await;
    browser
        .until(&format!(
            "{HELD} === 1 && document.querySelector('[data-testid=hold]').ariaPressed === 'true'"
        ))
        .await;
    undo_says(&browser, "hold 1 segment").await;
    browser.until(READY).await;
    browser.click("[data-testid=hold]").await;
    browser.until(&format!("{HELD} === 0")).await;
    undo(&browser).await;
    browser.until(&format!("{HELD} === 1")).await;
    undo(&browser).await;
    browser.until(&format!("{HELD} === 0")).await;

    // A smile over the whole line; its looks to another line.
    browser.key(&[], Key::Home.into()).await;
    let choice = browser.find("[data-testid=add-look]").await;
    choice.select_by_value("smile").await.expect("a look is chosen");
    browser.until(&format!("{LOOKS} === 1")).await;
    leave(&browser).await;
    browser.key(&[Key::Shift.into()], 'D').await;
    browser
        .until("document.querySelector('[data-testid=note]').textContent.includes('No looks are copied yet')")
        .await;
    browser.key(&[Key::Control.into()], 'a').await;
    browser.key(&[], 'd').await;
    browser
        .until("document.querySelector('[data-testid=note]').textContent.includes('Copied the looks')")
        .await;
    let line = browser.find("[data-testid=line]").await;
    line.select_by_index(1).await.expect("another line");
    browser.until(&format!("{LOOKS} === 0 && {READY} && {HEARD}")).await;
    leave(&browser).await;
    browser.key(&[], Key::Home.into()).await;
    browser.key(&[Key::Shift.into()], 'D').await;
    browser
        .until(&format!(
            "{LOOKS} >= 1 && document.querySelector('[data-testid=look-0]').dataset.look === 'smile'"
        ))
        .await;
    undo_says(&browser, "paste looks").await;
    undo(&browser).await;
    browser.until(&format!("{LOOKS} === 0")).await;
    browser.until(READY).await;
    browser.close().await;
}

/// Words and segments of the open line, from the project file.
async fn saved(browser: &Browser) -> (Vec<(f64, f64)>, Vec<f64>) {
    browser.key(&[Key::Control.into()], 's').await;
    let file = browser.downloaded(".lipwright.json").await;
    let text = std::fs::read_to_string(&file).expect("the project file");
    std::fs::remove_file(file).expect("was there");
    let project: Value = serde_json::from_str(&text).expect("JSON");
    let line = &project["lines"][0]["performance"];
    let number = |v: &Value| v.as_f64().expect("a time");
    let words = line["words"].as_array().expect("a script was aligned");
    let words = words.iter().map(|w| (number(&w["start_s"]), number(&w["end_s"]))).collect();
    let starts =
        line["segments"].as_array().expect("segments").iter().map(|s| number(&s["start_s"])).collect();
    (words, starts)
}

#[tokio::test(flavor = "multi_thread")]
async fn words_go_along_with_a_ripple_and_come_back_by_undo() {
    let browser = demo().await;
    let (words, starts) = saved(&browser).await;
    // A word in the middle that begins where a segment does, with room to go right: the longest word.
    let long = |w: &(f64, f64)| w.1 - w.0;
    let (place, word) = words
        .iter()
        .enumerate()
        .filter(|(_, w)| w.0 > 0.3 && starts.iter().any(|s| (s - w.0).abs() < 1e-6))
        .max_by(|a, b| long(a.1).total_cmp(&long(b.1)))
        .expect("a word");
    let (x, y) = browser.place(word.0).await;
    browser.drag_left_rippling(x, y).await;
    browser.until(READY).await;
    undo_says(&browser, "move boundary and what follows").await;
    let (moved, _) = saved(&browser).await;
    let by = moved[place].0 - word.0;
    assert!(by < -1e-3, "the word begins earlier: by {by}");
    assert!(
        (moved[place].1 - word.1 - by).abs() < 1e-6,
        "and is as long as it was: {word:?}, {:?}",
        moved[place]
    );
    undo(&browser).await;
    browser.until(READY).await;
    assert_eq!(saved(&browser).await.0, words);
    browser.close().await;
}
