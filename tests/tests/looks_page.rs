//! The expression lane in the page: a look is added, moves the brows, is dragged, undone, taken away.

use fantoccini::key::Key;
use lipwright_core::export::ServoTrack;
use lipwright_tests::browser::Browser;
use lipwright_tests::command;

const READY: &str = "document.body.dataset.status === 'ready'";

async fn look_time(browser: &Browser) -> Option<f64> {
    let text = browser.eval("document.querySelector('[data-testid=look-0]')?.dataset.time ?? ''").await;
    text.as_str().and_then(|t| t.parse().ok())
}

/// What the first look of the saved project says of single degrees of freedom.
async fn own_values(browser: &Browser) -> serde_json::Value {
    browser.until(READY).await;
    browser.eval("(document.activeElement.blur(), true)").await;
    browser.key(&[Key::Control.into()], 's').await;
    let file = browser.downloaded(".lipwright.json").await;
    let text = std::fs::read_to_string(&file).expect("the project file");
    std::fs::remove_file(file).expect("was there");
    let project: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    project["lines"][0]["performance"]["expressions"][0]["values"].clone()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_look_moves_the_brows_and_is_edited_like_everything_else() {
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.until("document.querySelectorAll('[data-testid=segments] [role=option]').length > 1").await;
    assert_eq!(look_time(&browser).await, None);

    // From the start of the line, angry.
    browser.key(&[], Key::Home.into()).await;
    let choice = browser.find("[data-testid=add-look]").await;
    choice.select_by_value("angry").await.expect("a look is chosen");
    browser.until("document.querySelector('[data-testid=look-0]')?.dataset.look === 'angry'").await;
    browser.until(READY).await;
    assert_eq!(look_time(&browser).await, Some(0.0));

    // The brows go down for the whole line, and every limit holds.
    browser.click("[data-testid=export]").await;
    browser.click("[data-testid=export-csv]").await;
    let file = browser.downloaded(".track.csv").await;
    command::run_ok(["verify", &file.to_string_lossy(), "--rig", "harbourmaster"]);
    let track = ServoTrack::from_csv(&std::fs::read_to_string(file).expect("a table")).expect("a track");
    let brow = track.servos().iter().find(|s| s.name == "brow left inner").expect("a brow");
    let pulses: Vec<f64> = brow.pulses().map(|p| p.value()).collect();
    let most = pulses.iter().fold(0.0f64, |m, p| m.max((p - pulses[0]).abs()));
    assert!(most > 50.0, "the brow moved by {most} us");
    browser.click("[data-testid=dialog-close]").await;

    // Dragged by a hundred pixels, and back by undo.
    let place = browser
        .eval(
            "(() => { const r = document.querySelector('[data-testid=look-0]').getBoundingClientRect();
                      return [r.left + 20, r.top + r.height / 2]; })()",
        )
        .await;
    let at = |i: usize| place[i].as_f64().expect("a length");
    browser.drag((at(0), at(1)), (at(0) + 100.0, at(1))).await;
    browser.until("Number(document.querySelector('[data-testid=look-0]').dataset.time) > 0.1").await;
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until("Number(document.querySelector('[data-testid=look-0]').dataset.time) === 0").await;

    // Half as much, eased evenly; then taken away.
    browser.click("[data-testid=look-0]").await;
    let easing = browser.find("[data-testid=look-easing]").await;
    easing.select_by_value("even").await.expect("an easing is chosen");

    // The inner brows by themselves: more than the skin allows is as much as it allows, and the file has it.
    browser.type_over("[data-testid=look-brows-in]", "400").await;
    browser.until("Number(document.querySelector('[data-testid=look-brows-in]').value) > 1").await;
    let most = browser.eval("Number(document.querySelector('[data-testid=look-brows-in]').max)").await;
    let own = own_values(&browser).await;
    for dof in ["brow-left-inner", "brow-right-inner"] {
        assert!((own[dof].as_f64().expect("mm") - most.as_f64().expect("mm")).abs() < 0.06, "{dof}: {own}");
    }
    assert_eq!(own.as_object().map(serde_json::Map::len), Some(2), "{own}");
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until("document.querySelector('[data-testid=look-brows-in]').value === ''").await;
    assert!(own_values(&browser).await.is_null(), "as the look again");
    browser.click("[data-testid=look-delete]").await;
    browser.until("!document.querySelector('[data-testid=look-0]')").await;
    browser.until(READY).await;
    browser.close().await;
}

/// The voice is asked once; what it suggests is dismissed by key, taken by mouse, and each is one step.
#[tokio::test(flavor = "multi_thread")]
async fn what_the_voice_suggests_is_taken_or_dismissed_one_by_one() {
    const SUGGESTED: &str = "document.querySelectorAll('[data-testid^=suggestion-][data-time]').length";
    const KEYS: &str = "document.querySelectorAll('[data-testid^=look-][data-time]').length";
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.until("document.querySelectorAll('[data-testid=segments] [role=option]').length > 1").await;
    browser.click("[data-testid=suggest-looks]").await;
    browser.until(&format!("{SUGGESTED} > 0 && {KEYS} === 0")).await;
    let count = browser.eval(SUGGESTED).await.as_u64().expect("a number");
    let label = browser.eval("document.querySelector('[data-testid=suggestion-0]').ariaLabel").await;
    let label = label.as_str().expect("a label");
    assert!(label.contains("semitone") || label.contains("dB louder"), "{label}");

    // Dismissed with a key; undo brings it back.
    browser.eval("document.querySelector('[data-testid=suggestion-0]').focus()").await;
    browser.key(&[], Key::Delete.into()).await;
    browser.until(&format!("{SUGGESTED} === {} && {KEYS} === 0", count - 1)).await;
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until(&format!("{SUGGESTED} === {count}")).await;

    // Taken with the mouse: at least from, there, and back again; one step.
    browser.click("[data-testid=suggestion-0]").await;
    browser.until(&format!("{SUGGESTED} === {} && {KEYS} >= 3", count - 1)).await;
    browser.until(READY).await;
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until(&format!("{SUGGESTED} === {count} && {KEYS} === 0")).await;

    // Taken with the keyboard; dismissed with the mouse after that was taken back.
    browser.eval("document.querySelector('[data-testid=suggestion-0]').focus()").await;
    browser.key(&[], Key::Enter.into()).await;
    browser.until(&format!("{SUGGESTED} === {} && {KEYS} >= 3", count - 1)).await;
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until(&format!("{SUGGESTED} === {count} && {KEYS} === 0")).await;
    browser.click("[data-testid=suggestion-dismiss-0]").await;
    browser.until(&format!("{SUGGESTED} === {}", count - 1)).await;
    browser.until(READY).await;
    browser.close().await;
}
