//! The rig view in a real browser: from a preset to a measured head, its track judged by the command
//! line. `make test` installs Chromium and builds the page.

use fantoccini::Locator;
use fantoccini::key::Key;
use lipwright_core::rig::{LinkageDescription, Rig};
use lipwright_tests::browser::Browser;
use lipwright_tests::command;

const READY: &str = "document.body.dataset.status === 'ready'";
const GOOD: &str = "document.querySelector('[data-testid=rig-verdict]').dataset.good === 'true'";
const PLAN: &str = "(document.querySelector('[data-testid=rig-plan]')?.textContent ?? '')";

/// Opens the page and goes to the rig with its key.
async fn at_the_rig() -> Browser {
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.key(&[], '2').await;
    browser.find("[data-testid=rig-view]").await;
    browser
}

async fn start_from(browser: &Browser, preset: &str) {
    browser.click("[data-testid=rig-page-face]").await;
    browser.click(&format!("[data-testid=preset-{preset}]")).await;
    browser.until(&format!("{READY} && {GOOD} && {PLAN}.includes('lip closures')")).await;
}

async fn servos(browser: &Browser) -> usize {
    let rows = browser.eval("document.querySelectorAll('[data-testid=servo-row]').length").await;
    rows.as_u64().expect("a count") as usize
}

/// Clicks a servo in the list.
async fn choose_servo(browser: &Browser, name: &str) {
    let rows = browser.client.find_all(Locator::Css("[data-testid=servo-row]")).await.expect("the list");
    for row in rows {
        if row.text().await.expect("its text").contains(name) {
            return row.click().await.expect("clicked");
        }
    }
    panic!("no servo {name} in the list");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tongue_is_added_measured_planned_and_verified() {
    let browser = at_the_rig().await;
    start_from(&browser, "jaw-and-lips").await;
    assert_eq!(servos(&browser).await, 3);
    let before = browser.eval(PLAN).await;
    assert!(!before.to_string().contains("tongue"), "no tongue yet: {before}");
    browser.click("[data-testid=rig-page-changes]").await;
    browser.click("[data-testid=compare-from-here]").await;

    // A tongue servo.
    browser.click("[data-testid=add-servo]").await;
    browser.click("[data-testid=add-tongue-tip]").await;
    let class = browser.find("[data-testid=add-class]").await;
    class.select_by_value("micro digital").await.expect("chosen");
    browser.click("[data-testid=add-confirm]").await;
    browser.until(&format!("{READY} && {GOOD} && {PLAN}.includes('tongue contacts')")).await;
    assert_eq!(servos(&browser).await, 4);
    assert_eq!(browser.text("[data-testid=servo-name]").await, "tongue tip");

    // Measured at seven pulses: the sheet comes with pulses spread over the travel.
    browser.click("[data-testid=rig-page-calibrate]").await;
    browser.click("[data-testid=step-4]").await;
    let seen = [-1.2, 1.1, 3.9, 6.8, 9.9, 12.6, 14.8];
    for (row, value) in seen.into_iter().enumerate() {
        browser.type_over(&format!("[data-testid=sheet-{row}-1]"), &value.to_string()).await;
    }
    let found = browser.text("[data-testid=linkage-found]").await;
    assert!(found.contains("one way over all 7 points") && found.contains("leaves 0."), "{found}");
    let planned = browser.eval(PLAN).await;
    browser.click("[data-testid=use-table]").await;
    browser.until(&format!("{READY} && {GOOD} && {PLAN}.includes('tongue contacts')")).await;
    browser.click("[data-testid=rig-page-servos]").await;
    assert_eq!(browser.value("[data-testid=linkage-kind]").await, "table");
    assert_eq!(browser.value("[data-testid='field-mechanisms[3].points[6].value']").await, "14.8");

    // One step back, and forward again.
    browser.key(&[Key::Control.into()], 'z').await;
    browser
        .until(&format!(
            "{READY} && document.querySelector('[data-testid=linkage-kind]').value === 'push-rod' && {PLAN} === {planned}"
        ))
        .await;
    browser.key(&[Key::Control.into()], 'y').await;
    browser
        .until(&format!("{READY} && document.querySelector('[data-testid=linkage-kind]').value === 'table'"))
        .await;

    // What the tongue brought.
    browser.click("[data-testid=rig-page-changes]").await;
    browser.until("document.querySelector('[data-testid=changes]').dataset.fresh === 'true'").await;
    let row = browser
        .eval(
            "[...document.querySelectorAll('[data-line=Welcome] tbody tr')]
               .find(r => r.textContent.includes('Tongue contacts')).innerText",
        )
        .await;
    assert!(row.to_string().contains("none asked") && row.to_string().contains("better"), "{row}");

    // The rig and the track leave the page, and fit each other.
    browser.click("[data-testid=rig-save]").await;
    let rig = browser.downloaded(".rig.json").await;
    let head = Rig::from_json(&std::fs::read_to_string(&rig).expect("the rig file")).expect("a rig");
    let measured = head.description().mechanisms.last().map(|m| m.linkage.clone());
    assert!(matches!(measured, Some(LinkageDescription::Table { points }) if points.len() == 7));
    browser.key(&[Key::Control.into()], 'e').await;
    browser.click("[data-testid=export-csv]").await;
    let track = browser.downloaded(".csv").await;
    command::run_ok(["verify", &track.to_string_lossy(), "--rig", &rig.to_string_lossy()]);

    // A reload loses nothing, the sheet of measurements included.
    browser.client.refresh().await.expect("the page loads again");
    browser.until(READY).await;
    browser.key(&[], '2').await;
    browser.find("[data-testid=rig-view]").await;
    assert_eq!(servos(&browser).await, 4);
    choose_servo(&browser, "tongue tip").await;
    assert_eq!(browser.value("[data-testid=linkage-kind]").await, "table");
    browser.click("[data-testid=rig-page-calibrate]").await;
    browser.click("[data-testid=step-4]").await;
    assert_eq!(browser.value("[data-testid=sheet-6-1]").await, "14.8");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_bad_field_says_so_where_it_is_and_the_last_good_rig_plays() {
    let browser = at_the_rig().await;
    let good = browser.eval(PLAN).await;
    let field = "[data-testid='field-servos[0].pulse_min_us']";
    let error = "[data-testid='error-servos[0].pulse_min_us']";
    for (text, says) in [("2500", "not below"), ("about 900", "is a text"), ("50", "from 100 to 5000")] {
        browser.type_over(field, text).await;
        let said = browser.text(error).await;
        assert!(said.contains(says), "{text}: {said}");
        assert_eq!(browser.value(field).await, text, "what was typed stays to be corrected");
        let verdict = browser.text("[data-testid=rig-verdict]").await;
        assert!(verdict.contains("last good rig stays in use"), "{verdict}");
    }
    // The list of faults leads to the field from another page.
    browser.click("[data-testid=rig-page-power]").await;
    browser.click("[data-problem='servos[0].pulse_min_us']").await;
    browser.until("document.activeElement?.dataset.testid === 'field-servos[0].pulse_min_us'").await;
    // A wrong draft survives a reload; the last good rig still plans the line.
    browser.client.refresh().await.expect("the page loads again");
    browser.until(READY).await;
    browser.key(&[], '2').await;
    assert!(browser.text(error).await.contains("from 100 to 5000"));
    browser.type_over(field, "900").await;
    browser.until(&format!("{READY} && {GOOD} && {PLAN}.includes('lip closures')")).await;
    assert_eq!(browser.eval(&format!("!!document.querySelector(\"{error}\")")).await, false);
    // 900 instead of 800 µs takes nothing away that the skin allows: the plan is as it was.
    assert_eq!(browser.eval(PLAN).await, good);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn views_and_pages_answer_to_the_keyboard_and_poses_to_numbers() {
    let browser = at_the_rig().await;
    // The rig's tabs: arrow keys go round.
    browser.click("[data-testid=rig-page-servos]").await;
    for page in ["face", "poses"] {
        browser.key(&[], Key::Right.into()).await;
        browser.until(&format!("document.querySelector('[data-testid=rig-page-{page}]').getAttribute('aria-selected') === 'true'")).await;
    }
    // A pose of one's own, out and back.
    browser.click("[data-testid=pose-spread]").await;
    assert_eq!(browser.text("[data-testid=pose-name]").await, "spread");
    let table = "document.querySelector('[data-testid=distance-table]').innerText";
    let distances = browser.eval(table).await;
    browser.type_over("[data-testid='field-poses.spread.target.corner-left-x']", "2").await;
    browser.until(&format!("{READY} && {table} !== {distances}")).await;
    // The face follows a slider moved by keys.
    let look = "document.querySelector('[data-testid=rig-front]').toDataURL()";
    let still = browser.eval(look).await;
    let slider = browser.find("[data-testid=slider-jaw-open]").await;
    slider.send_keys(&char::from(Key::End).to_string()).await.expect("moved");
    browser.until(&format!("{look} !== {still}")).await;
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until(&format!("{READY} && {table} === {distances}")).await;
    // Back to the line, by its key.
    browser.key(&[], '1').await;
    browser.find("[data-testid=lane-shapes]").await;
    assert_eq!(browser.eval("document.body.dataset.view").await, "line");
    browser.close().await;
}
