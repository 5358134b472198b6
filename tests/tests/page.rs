//! The page in a real browser, driven by real pointer and key events.
//!
//! Reading state goes through attributes that screen readers see too; every change goes through
//! the mouse, the keyboard or a file chosen in the page.

use fantoccini::key::Key;
use lipwright_core::project::Project;
use lipwright_tests::browser::Browser;
use lipwright_tests::desk::{READY, choose, segments};
use lipwright_tests::{command, human_prompts, sample_lines};
use serde_json::Value;
use std::path::Path;

/// The name a line gets from its file.
fn line_name(path: &Path) -> String {
    path.file_stem().expect("a name").to_string_lossy().into_owned()
}

/// Chooses a recording and waits until it is heard and planned.
async fn open_recording(browser: &Browser, path: &Path) {
    browser.until(READY).await;
    choose(browser, &[path]).await;
    let name = line_name(path);
    browser
        .until(&format!(
            "{READY} && document.querySelector('[data-testid=line]').selectedOptions[0].textContent.includes('{name}')"
        ))
        .await;
    browser.until("document.querySelectorAll('[data-testid=segments] [role=option]').length > 1").await;
}

async fn verified(browser: &Browser, button: &str, ending: &str, rig: &str) {
    browser.click(&format!("[data-testid={button}]")).await;
    let track = browser.downloaded(ending).await;
    command::run_ok(["verify", &track.to_string_lossy(), "--rig", rig]);
}

/// The severe entries of the browser's own log.
async fn complaints(browser: &Browser) -> Vec<String> {
    let seen = browser.eval("window.performance.getEntriesByType('resource').map(e => e.name)").await;
    let origin = browser.eval("location.origin").await;
    let origin = origin.as_str().expect("an origin").to_owned();
    let names = seen.as_array().expect("a list").iter().filter_map(Value::as_str);
    names.filter(|n| !n.starts_with(&origin) && !n.starts_with("blob:")).map(str::to_owned).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_recording_becomes_a_corrected_exported_track() {
    let browser = Browser::open().await;
    open_recording(&browser, &human_prompts()[0]).await;
    let heard = segments(&browser).await;
    assert!(heard.len() > 5, "a sentence has more than {} shapes", heard.len());
    for pair in heard.windows(2) {
        assert_eq!(pair[0].end, pair[1].start, "no gap, no overlap");
    }

    // Drag the boundary of the longest pair of neighbours by a third of its room.
    let room = |i: usize| (heard[i].end - heard[i].start).min(heard[i - 1].end - heard[i - 1].start);
    let index = (1..heard.len()).max_by(|a, b| room(*a).total_cmp(&room(*b))).expect("a boundary");
    let wanted = heard[index].start + room(index) / 3.0;
    let (from, to) = (browser.place(heard[index].start).await, browser.place(wanted).await);
    // Alt: the boundary goes where the pointer does, past what it would catch on.
    browser.hold(Key::Alt.into()).await;
    browser.drag(from, to).await;
    browser.let_go(Key::Alt.into()).await;
    // The last move of the pointer counts when the page has answered it.
    let pixel = heard.last().expect("a segment").end / 1000.0;
    browser
        .until(&format!(
            "{READY} && Math.abs(Number(document.querySelectorAll('[data-testid=segments] [role=option]')[{index}].dataset.start) - {wanted}) < {}",
            2.0 * pixel
        ))
        .await;
    let dragged = segments(&browser).await;
    assert_eq!(dragged[index].start, dragged[index - 1].end);

    // Undo returns the exact start; redo the exact drag.
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until(READY).await;
    assert_eq!(segments(&browser).await, heard);
    browser.key(&[Key::Control.into()], 'y').await;
    browser.until(READY).await;
    assert_eq!(segments(&browser).await, dragged);

    // Replace the shape of a segment from the palette.
    let (x, y) = browser.place((dragged[index].start + dragged[index].end) / 2.0).await;
    browser.click_at(x, y).await;
    let other = if dragged[index].shape == "pursed" { "open" } else { "pursed" };
    browser.click(&format!("[data-testid=shape-{other}]")).await;
    browser.until(READY).await;
    assert_eq!(segments(&browser).await[index].shape, other);

    // Split at the playhead, merge back, delete.
    let (x, y) = browser.place((dragged[index].start + dragged[index].end) / 2.0).await;
    browser.click_at(x, y).await;
    browser.click("[data-testid=split]").await;
    assert_eq!(segments(&browser).await.len(), heard.len() + 1);
    browser.click("[data-testid=merge]").await;
    assert_eq!(segments(&browser).await.len(), heard.len());
    browser.click("[data-testid=delete]").await;
    assert!(segments(&browser).await.len() < heard.len());
    browser.until(READY).await;

    // Every form of the track passes the independent check.
    browser.click("[data-testid=export]").await;
    verified(&browser, "export-csv", ".csv", "harbourmaster").await;
    verified(&browser, "export-json", ".json", "harbourmaster").await;
    assert_eq!(complaints(&browser).await, Vec::<String>::new(), "the page asks nothing of other hosts");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_line_speaks_when_space_is_pressed() {
    let browser = Browser::open().await;
    browser.until(READY).await;
    let demo = segments(&browser).await;
    assert!(demo.len() > 20, "the demo line is heard");
    assert!(demo.iter().any(|s| s.shape == "bilabial") && demo.iter().any(|s| s.shape == "rhotic"));
    let look = "document.querySelector('[data-testid=stage-front]').toDataURL()";
    let still = browser.eval(look).await;
    let time = "parseFloat(document.querySelector('[data-testid=time]').textContent)";
    assert_eq!(browser.eval(time).await.as_f64(), Some(0.0));
    browser.key(&[], ' ').await;
    browser.until(&format!("{time} > 0.8")).await;
    assert_ne!(browser.eval(look).await, still, "the face moves");
    browser.key(&[], ' ').await;
    let paused = browser.eval(time).await;
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    assert_eq!(browser.eval(time).await, paused, "and holds when space is pressed again");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_project_is_saved_and_opens_again_as_it_was() {
    let browser = Browser::open().await;
    open_recording(&browser, &human_prompts()[1]).await;
    let (x, y) = {
        let first = segments(&browser).await[2].clone();
        browser.place((first.start + first.end) / 2.0).await
    };
    browser.click_at(x, y).await;
    browser.click("[data-testid=shape-rounded]").await;
    browser.until(READY).await;
    let edited = segments(&browser).await;
    browser.key(&[Key::Control.into()], 's').await;
    let text = std::fs::read_to_string(browser.downloaded(".json").await).expect("the project file");
    browser.close().await;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("museum.json");
    std::fs::write(&file, &text).expect("written");
    let project = Project::from_json(&text).expect("core reads what the page wrote");
    assert!(!project.lines.is_empty());

    let again = Browser::open().await;
    again.until(READY).await;
    choose(&again, &[&file]).await;
    let expected = format!(
        "{READY} && document.querySelectorAll('[data-testid=segments] [role=option]').length === {}",
        edited.len()
    );
    // The page may come back on any line of the project; choose the edited one by its name.
    let name = line_name(&human_prompts()[1]);
    again
        .until(&format!(
            "[...document.querySelector('[data-testid=line]').options].some(o => o.textContent.includes('{name}'))"
        ))
        .await;
    let value = again
        .eval(&format!(
            "[...document.querySelector('[data-testid=line]').options].find(o => o.textContent.includes('{name}')).value"
        ))
        .await;
    let select = again.find("[data-testid=line]").await;
    select.select_by_value(value.as_str().expect("a value")).await.expect("chosen");
    again.until(&expected).await;
    assert_eq!(segments(&again).await, edited);
    again.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_script_places_words_and_a_bad_file_loses_nothing() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let browser = Browser::open().await;
    let audio = &sample_lines()[1];
    open_recording(&browser, audio).await;
    browser.click("[data-testid=script]").await;
    let script = std::fs::read_to_string(audio.with_extension("txt")).expect("its script");
    let field = browser.find("[data-testid=script-text]").await;
    field.clear().await.expect("cleared");
    field.send_keys(script.trim()).await.expect("typed");
    browser.click("[data-testid=align]").await;
    browser.until(&format!("{READY} && !!document.querySelector('[data-testid=lane-words]')")).await;
    let before = segments(&browser).await;

    let junk = folder.path().join("junk.wav");
    std::fs::write(&junk, b"RIFF\x10\0\0\0WAVEjunk").expect("written");
    choose(&browser, &[&junk]).await;
    let banner = browser.find("[data-testid=error]").await.text().await.expect("its text");
    assert!(banner.contains("junk"), "the message names the file: {banner}");
    assert_eq!(segments(&browser).await, before, "the open line is untouched");
    browser.close().await;
}
