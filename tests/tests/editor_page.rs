//! What the line's view promises beside what the other files show: zoom under the pointer, scrubbing,
//! strength, what the ear doubts, the ghost, the keyboard's way through the page, low windows and tablets.

use fantoccini::actions::{InputSource, WheelAction, WheelActions};
use fantoccini::key::Key;
use lipwright_tests::browser::{Browser, Setup};
use lipwright_tests::desk::{READY, choose, has_line, opened, opened_as, segments, settled};
use lipwright_tests::human_prompts;
use serde_json::Value;

const TIME: &str = "parseFloat(document.querySelector('[data-testid=time]').textContent)";

async fn time(browser: &Browser) -> f64 {
    browser.eval(TIME).await.as_f64().expect("a time")
}

/// Middle of an element, in the window.
async fn middle(browser: &Browser, selector: &str) -> (f64, f64) {
    let place = browser
        .eval(&format!(
            "(() => {{ const r = document.querySelector('{selector}').getBoundingClientRect();
                       return [r.left + r.width / 2, r.top + r.height / 2]; }})()"
        ))
        .await;
    (place[0].as_f64().expect("a length"), place[1].as_f64().expect("a length"))
}

async fn wheel(browser: &Browser, (x, y): (f64, f64), by: i64) {
    let turn = WheelActions::new("wheel".into()).then(WheelAction::Scroll {
        duration: None,
        x: x as i64,
        y: y as i64,
        delta_x: 0,
        delta_y: by,
    });
    browser.client.perform_actions(turn).await.expect("the wheel turns");
}

#[tokio::test(flavor = "multi_thread")]
async fn lanes_zoom_under_the_pointer_scroll_and_fold() {
    let browser = opened().await;
    browser.click("[data-testid=fit]").await;
    let (x, y) = middle(&browser, "[data-testid=lane-wave]").await;
    // Which time lies under a place shows where the playhead goes when it is pressed.
    let at = |x: f64| {
        let browser = &browser;
        async move {
            browser.click_at(x, y).await;
            time(browser).await
        }
    };
    let (here, there) = (at(x).await, at(x + 200.0).await);
    assert!(there > here + 0.3, "200 pixels of the whole line are more than {:.2} s", there - here);
    browser.hold(Key::Control.into()).await;
    wheel(&browser, (x, y), -400).await;
    browser.let_go(Key::Control.into()).await;
    let (same, near) = (at(x).await, at(x + 200.0).await);
    assert!((same - here).abs() < 0.02, "what was under the pointer stays: {here} s, {same} s");
    assert!(near - same < (there - here) / 3.0, "and 200 pixels are {:.2} s now", near - same);
    wheel(&browser, (x, y), 120).await;
    assert!(at(x).await > same + 0.03, "the wheel alone goes on along the line");

    // Servo lanes by part of the face, folded away and back by mouse and by key.
    let lane = "!!document.querySelector('[data-testid=servo-0]')";
    assert_eq!(browser.eval(lane).await, true);
    browser.click(".fold").await;
    browser.until(&format!("!({lane}) && document.querySelector('.fold').ariaExpanded === 'false'")).await;
    browser.eval("(document.querySelector('.fold').focus(), true)").await;
    browser.key(&[], Key::Enter.into()).await;
    browser.until(&format!("{lane} && document.querySelector('.fold').ariaExpanded === 'true'")).await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn scrubbing_follows_the_pointer_and_sounds() {
    let browser = opened().await;
    browser.click("[data-testid=fit]").await;
    // What the page has the browser play, counted on its way.
    browser
        .eval(
            "(() => { const node = AudioBufferSourceNode.prototype, start = node.start; window.sounded = [];
                      node.start = function (...how) { window.sounded.push(how); return start.apply(this, how); };
                      return true; })()",
        )
        .await;
    let (x, y) = middle(&browser, "[data-testid=lane-wave]").await;
    browser.press(x, y).await;
    browser.until(&format!("{TIME} > 1")).await;
    let from = time(&browser).await;
    for step in 1..=5 {
        browser.move_to(x + f64::from(step) * 20.0, y).await;
    }
    browser.until(&format!("{TIME} > {from} + 0.2 && window.sounded.length >= 3")).await;
    browser.release().await;
    // Short pieces from where the playhead was, each later than the one before.
    let sounded = browser.eval("window.sounded").await;
    let places: Vec<f64> = sounded.as_array().expect("calls").iter().filter_map(|c| c[1].as_f64()).collect();
    assert!(places.windows(2).all(|p| p[0] <= p[1]) && places.last() > places.first(), "{places:?}");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_the_ear_doubts_is_gone_to_and_its_strength_set() {
    let browser = opened().await;
    // Monkeys: no ear for speech is to be sure of what they say.
    let cries = human_prompts()[0].with_file_name("tt-monkeys.wav");
    choose(&browser, &[&cries]).await;
    has_line(&browser, "tt-monkeys").await;
    browser.until("document.querySelector('[data-testid=line]').selectedIndex === 4").await;
    settled(&browser).await;
    const CHOSEN: &str = "document.querySelector('[data-testid=segments] [aria-selected=true]')";
    browser.key(&[], 'n').await;
    browser.until(&format!("{CHOSEN}?.textContent.includes('in doubt')")).await;
    let first = browser.eval(&format!("{CHOSEN}.dataset.start")).await;
    browser.key(&[], 'n').await;
    browser.until(&format!("{CHOSEN}.dataset.start !== '{}'", first.as_str().expect("a time"))).await;
    browser.until(&format!("{CHOSEN}.textContent.includes('in doubt')")).await;

    browser.key(&[], Key::Up.into()).await;
    browser.until(&format!("Math.abs({CHOSEN}.dataset.strength - 1.1) < 1e-9")).await;
    browser.until("document.querySelector('[data-testid=strength]').value === '110'").await;
    browser
        .until("document.querySelector('[data-testid=undo]').textContent.includes('change strength')")
        .await;
    browser.key(&[], Key::Down.into()).await;
    browser.key(&[], Key::Down.into()).await;
    browser.until(&format!("Math.abs({CHOSEN}.dataset.strength - 0.9) < 1e-9")).await;
    browser.until(READY).await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_ghost_of_what_was_wanted_is_shown_and_put_away() {
    let browser = opened().await;
    // There, the head falls short of what was wanted.
    browser.key(&[], 'p').await;
    browser.until("!!document.querySelector('[data-testid=problems] [aria-current=true]')").await;
    browser.until(READY).await;
    let pressed =
        |yes: bool| format!("document.querySelector('[data-testid=ghost]').ariaPressed === '{yes}'");
    const FACE: &str = "document.querySelector('[data-testid=stage-front]').toDataURL()";
    // Two animation frames later, what had changed is painted.
    const PAINTED: &str = "(window.painted = false, requestAnimationFrame(() => requestAnimationFrame(
        () => window.painted = true)), true)";
    browser.until(&pressed(true)).await;
    let mut faces: Vec<Value> = Vec::new();
    for shown in [true, false, true] {
        browser.until(&pressed(shown)).await;
        browser.eval(PAINTED).await;
        browser.until("window.painted").await;
        faces.push(browser.eval(FACE).await);
        browser.key(&[], 'g').await;
    }
    assert_ne!(faces[0], faces[1], "without the ghost the face is painted otherwise");
    assert_eq!(faces[0], faces[2], "and with it again as before");
    browser.close().await;
}

/// The tabulator alone goes to everything that can be pressed, and wherever it is, it is seen.
#[tokio::test(flavor = "multi_thread")]
async fn the_tabulator_goes_everywhere_and_is_seen() {
    const HERE: &str = "(() => { const e = document.activeElement, s = getComputedStyle(e);
        return [e.dataset.testid ?? e.className, s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 1]; })()";
    let browser = opened().await;
    let mut seen: Vec<String> = Vec::new();
    for _ in 0..120 {
        browser.key(&[], Key::Tab.into()).await;
        let here = browser.eval(HERE).await;
        let name = here[0].as_str().expect("a name").to_owned();
        if name.is_empty() {
            // Past the page's end, the browser's own controls.
            continue;
        }
        assert_eq!(here[1], true, "the focus on {name} is not seen");
        if !seen.contains(&name) {
            seen.push(name);
        }
    }
    for wanted in [
        "view-line",
        "line",
        "rig",
        "project",
        "open",
        "record",
        "save",
        "export",
        "theme",
        "help",
        "ghost",
        "mirror",
        "full",
        "split",
        "room",
        "script",
        "play",
        "loop",
        "pre-roll",
        "paint",
        "fit",
        "minimap",
        "time-unit",
        "spectrogram",
        "segments",
        "add-look",
        "add-blink",
        "add-turn",
        "event-0",
        "fold",
    ] {
        assert!(seen.iter().any(|s| s == wanted), "{wanted} is not reached: {seen:?}");
    }
    browser.close().await;
}

/// A window with so much room for the page.
async fn sized(browser: &Browser, width: u32, height: u32) {
    browser.client.set_window_size(width, height).await.expect("a size");
    browser
        .until(&format!("Math.abs(outerWidth - {width}) < 2 && Math.abs(outerHeight - {height}) < 2"))
        .await;
    let frame = browser.eval("[outerWidth - innerWidth, outerHeight - innerHeight]").await;
    let add = |i: usize| u32::try_from(frame[i].as_u64().expect("a length")).expect("small");
    browser.client.set_window_size(width + add(0), height + add(1)).await.expect("a size");
    browser.until(&format!("innerWidth === {width} && innerHeight === {height}")).await;
}

/// What is not wholly in the window, or is covered at its middle; and labels that are cut off.
const OUT_OF_SIGHT: &str = "((wanted) => {
  const out = [];
  for (const selector of wanted) {
    const e = document.querySelector(selector), r = e?.getBoundingClientRect();
    if (!r || r.width < 4 || r.height < 4) { out.push(selector + ' is not there'); continue; }
    if (r.left < -1 || r.top < -1 || r.right > innerWidth + 1 || r.bottom > innerHeight + 1)
      out.push(selector + ' leaves the window');
    const top = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
    if (!(e.contains(top) || top?.contains(e))) out.push(selector + ' is covered by ' + top?.outerHTML.slice(0, 80));
  }
  for (const e of document.querySelectorAll('.label small, .transport button, .bar > button, .verbs button'))
    if (e.scrollWidth > e.clientWidth + 1) out.push('cut off: ' + e.textContent);
  if (document.scrollingElement.scrollHeight > innerHeight + 1) out.push('the page is higher than the window');
  return out;
})";

async fn in_sight(browser: &Browser, place: &str, wanted: &[&str]) {
    let list = serde_json::to_string(wanted).expect("names");
    browser.until(&format!("{OUT_OF_SIGHT}({list}).length === 0")).await;
    let out = browser.eval(&format!("{OUT_OF_SIGHT}({list})")).await;
    assert_eq!(out.as_array().map(Vec::len), Some(0), "{place}: {out}");
}

#[tokio::test(flavor = "multi_thread")]
async fn low_windows_and_tablets_keep_everything_in_sight() {
    const PROBLEMS: &str = "(() => { const box = document.querySelector('[data-testid=problems]').getBoundingClientRect();
        return [...document.querySelectorAll('[data-testid=problems] li')].filter((e) => {
          const r = e.getBoundingClientRect(); return r.height > 0 && r.bottom <= box.bottom + 1; }).length; })()";
    let browser = opened().await;
    browser.click("[data-testid=tour-never]").await;
    for (width, height, problems) in [(1280, 720, 3), (1024, 768, 2), (768, 1024, 2)] {
        sized(&browser, width, height).await;
        let place = format!("{width} × {height}");
        // The settings of an event lie over the foot of the lanes, and move nothing.
        browser.click("[data-testid=event-0]").await;
        in_sight(
            &browser,
            &place,
            &[
                "[data-testid=undo]",
                "[data-testid=export]",
                "[data-testid=help]",
                "[data-testid=stage-front]",
                "[data-testid=stage-cut]",
                "[data-testid=strength]",
                "[data-testid=shape-pursed]",
                "[data-testid=problems]",
                "[data-testid=play]",
                "[data-testid=add-marker]",
                "[data-testid=zoom-in]",
                "[data-testid=minimap]",
                "[data-testid=lane-wave]",
                "[data-testid=lane-words]",
                "[data-testid=lane-shapes]",
                "[data-testid=lane-looks]",
                "[data-testid=lane-events]",
                "[data-testid=event-settings]",
                "[data-testid=event-delete]",
                ".group-head",
            ],
        )
        .await;
        assert!(
            browser.eval(PROBLEMS).await.as_u64().is_some_and(|n| n >= problems),
            "{place}: {} problems are seen",
            browser.eval(PROBLEMS).await
        );
        browser.click("[aria-label=\"Close the event's settings\"]").await;
        in_sight(&browser, &place, &["[data-testid=servo-0]"]).await;
        browser.click("[data-testid=view-bench]").await;
        in_sight(&browser, &place, &["[data-testid=bench-stop]", "[data-testid=bench-simulate]"]).await;
        if width > height {
            in_sight(&browser, &place, &[".bench .cautions", "[data-testid=ceiling]"]).await;
        }
        browser.click("[data-testid=view-line]").await;
    }
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_manual_has_keys_and_cautions_and_motion_is_reduced_on_request() {
    const TURNS: &str = "getComputedStyle(document.querySelector('.fold svg')).transitionDuration";
    let browser = opened().await;
    assert_ne!(browser.eval(TURNS).await, "0s");
    browser.key(&[], '?').await;
    browser.until("document.querySelectorAll('dialog[open] .keys dt').length > 30").await;
    let text = browser.text("dialog[open]").await;
    for words in
        ["cut servo power before reaching in", "Nothing here is a safety controller", "Space", "Ctrl Z"]
    {
        assert!(text.contains(words), "the manual says “{words}”: {text}");
    }
    browser.click("[data-testid=dialog-close]").await;
    // Motion leaves the screen with an export, too.
    browser.key(&[Key::Control.into()], 'e').await;
    browser.until("document.querySelector('dialog[open] .cautions')?.textContent.includes('pinch')").await;
    browser.close().await;

    let setup = Setup { arguments: vec!["--force-prefers-reduced-motion".into()], ..Setup::default() };
    let browser = opened_as(setup).await;
    browser.until(&format!("{TURNS} === '0s'")).await;
    assert!(!segments(&browser).await.is_empty());
    browser.close().await;
}
