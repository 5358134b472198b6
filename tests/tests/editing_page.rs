//! Editing in a real browser: catching and rippling, several segments at once, markers and loops, locks,
//! painting, time in frames. Every change goes through the mouse or the keyboard.

use fantoccini::key::Key;
use lipwright_tests::browser::Browser;
use lipwright_tests::desk::{READY, Shown, segments};
use lipwright_tests::sample_lines;
use serde_json::Value;
use std::path::Path;

const TIME: &str = "parseFloat(document.querySelector('[data-testid=time]').textContent)";

/// Opens the page on its demo line, heard, planned and looked over.
async fn demo() -> Browser {
    let browser = Browser::open().await;
    browser
        .until(&format!(
            "{READY} && document.querySelectorAll('[data-testid=segments] [role=option]').length > 20
               && Number(document.querySelector('[data-testid=segments]').dataset.changes) > 5"
        ))
        .await;
    browser
}

async fn undo_label(browser: &Browser) -> String {
    browser.text("[data-testid=undo]").await
}

/// Index of a boundary with room on both sides.
fn roomy(shown: &[Shown]) -> usize {
    let room = |i: usize| (shown[i].end - shown[i].start).min(shown[i - 1].end - shown[i - 1].start);
    (1..shown.len() - 2).max_by(|a, b| room(*a).total_cmp(&room(*b))).expect("a boundary")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_boundary_catches_on_the_sound_goes_free_with_alt_and_ripples_with_shift() {
    let browser = demo().await;
    let heard = segments(&browser).await;
    let index = roomy(&heard);
    let (x, y) = browser.place(heard[index].start).await;
    let pixel = heard.last().expect("a segment").end / (0.98 * lane_width(&browser).await);
    // Drag over a stretch pixel by pixel until it catches; what it caught on stands in the page.
    let mut caught = None;
    browser.press(x, y).await;
    for step in 1..60 {
        browser.move_to(x - f64::from(step), y).await;
        let mark = browser.eval("document.querySelector('[data-testid=caught]')?.dataset.on ?? ''").await;
        let stands = segments(&browser).await[index].start;
        let pointer = heard[index].start - f64::from(step) * pixel;
        if mark != "" && (stands - pointer).abs() > 2.5 * pixel {
            caught = Some((step, stands, pointer));
            break;
        }
    }
    let (step, stands, pointer) = caught.expect("within sixty pixels the sound changes or a word ends");
    assert!((stands - pointer).abs() < 9.0 * pixel, "it catches within eight pixels");
    // The same place with Alt held: the boundary stands under the pointer.
    browser.hold(Key::Alt.into()).await;
    browser.move_to(x - f64::from(step) - 0.5, y).await;
    browser.move_to(x - f64::from(step), y).await;
    browser.until("!document.querySelector('[data-testid=caught]')").await;
    let free = segments(&browser).await[index].start;
    assert!((free - pointer).abs() < 1.5 * pixel, "free at {free}, pointer at {pointer}");
    browser.let_go(Key::Alt.into()).await;
    browser.release().await;
    browser.until(READY).await;
    assert!(undo_label(&browser).await.contains("move boundary"));
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until(READY).await;
    let back = segments(&browser).await;
    assert_eq!(
        back.iter().map(|s| s.start).collect::<Vec<_>>(),
        heard.iter().map(|s| s.start).collect::<Vec<_>>()
    );

    // With Shift, what follows in the word moves along: the segment after the boundary keeps its length
    // or, where it is the word's last, gives the time; Alt keeps the boundary under the pointer.
    let (x, y) = browser.place(heard[index].start).await;
    browser.drag_left_rippling(x, y).await;
    browser.until(READY).await;
    let after = segments(&browser).await;
    let by = after[index].start - heard[index].start;
    assert!((by + 6.0 * pixel).abs() < 1.5 * pixel, "moved by {by}");
    let moved: Vec<usize> =
        (0..heard.len()).filter(|i| (after[*i].start - heard[*i].start - by).abs() < 2e-4).collect();
    assert!(moved.first() == Some(&index) && moved.windows(2).all(|w| w[1] == w[0] + 1), "{moved:?}");
    for i in &moved[..moved.len() - 1] {
        assert!((after[*i].end - after[*i].start - heard[*i].end + heard[*i].start).abs() < 3e-4);
    }
    for i in (0..heard.len()).filter(|i| !moved.contains(i)) {
        assert_eq!(after[i].start, heard[i].start, "outside the word nothing moves");
    }
    assert!(undo_label(&browser).await.contains("what follows"));
    browser.close().await;
}

async fn lane_width(browser: &Browser) -> f64 {
    let width = browser.eval("document.querySelector('[data-testid=lane-shapes]').clientWidth").await;
    width.as_f64().expect("a width")
}

#[tokio::test(flavor = "multi_thread")]
async fn several_segments_are_edited_in_one_named_step() {
    let browser = demo().await;
    let heard = segments(&browser).await;
    let index = roomy(&heard);
    let middle = |s: &Shown| (s.start + s.end) / 2.0;
    let (x, y) = browser.place(middle(&heard[index])).await;
    browser.click_at(x, y).await;
    let shift_alt = [Key::Shift.into(), Key::Alt.into()];
    browser.key(&shift_alt, Key::Right.into()).await;
    browser.key(&shift_alt, Key::Right.into()).await;
    browser.until("document.querySelector('[data-testid=chosen]').textContent === '3 segments'").await;
    let chosen = |shown: &[Shown]| (0..shown.len()).filter(|i| shown[*i].chosen).collect::<Vec<_>>();
    assert_eq!(chosen(&segments(&browser).await), [index, index + 1, index + 2]);
    browser.click("[data-testid=shape-pursed]").await;
    browser
        .until("document.querySelector('[data-testid=undo]').textContent.includes('replace 3 shapes')")
        .await;
    let replaced = segments(&browser).await;
    assert!(replaced[index..index + 3].iter().all(|s| s.shape == "pursed"));

    // Lock them, copy them to another place, delete them there: each is one step.
    browser.key(&[], 't').await;
    browser
        .until("document.querySelector('[data-testid=undo]').textContent.includes('lock 3 segments')")
        .await;
    assert!(segments(&browser).await[index..index + 3].iter().all(|s| s.locked));
    browser.key(&[Key::Control.into()], 'c').await;
    browser.key(&[], Key::Home.into()).await;
    browser.key(&[Key::Control.into()], 'v').await;
    browser
        .until("document.querySelector('[data-testid=undo]').textContent.includes('paste 3 segments')")
        .await;
    let pasted = segments(&browser).await;
    assert_eq!(chosen(&pasted), [0, 1, 2]);
    assert!(pasted[..3].iter().all(|s| s.shape == "pursed" && !s.locked));
    let length = |s: &[Shown]| s[s.len() - 1].end - s[0].start;
    assert!((length(&pasted[..3]) - length(&replaced[index..index + 3])).abs() < 0.011, "slivers aside");
    browser.key(&[], Key::Delete.into()).await;
    browser
        .until("document.querySelector('[data-testid=undo]').textContent.includes('delete 3 segments')")
        .await;
    // Undo all of it, by keyboard.
    for _ in 0..4 {
        browser.key(&[Key::Control.into()], 'z').await;
    }
    browser.until("document.querySelector('[data-testid=undo]').disabled").await;
    let bare =
        |shown: &[Shown]| shown.iter().map(|s| (s.start, s.shape.clone(), s.locked)).collect::<Vec<_>>();
    assert_eq!(bare(&segments(&browser).await), bare(&heard));
    // Shift click reaches from one segment to another.
    let (x, y) = browser.place(middle(&heard[index])).await;
    browser.click_at(x, y).await;
    browser.hold(Key::Shift.into()).await;
    let far = (index + 4).min(heard.len() - 1);
    let (x, y) = browser.place(middle(&heard[far])).await;
    browser.click_at(x, y).await;
    browser.let_go(Key::Shift.into()).await;
    assert_eq!(chosen(&segments(&browser).await), (index..=far).collect::<Vec<_>>());
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn markers_are_set_named_kept_and_looped_between() {
    let browser = demo().await;
    let (x, y) = browser.place(0.8).await;
    browser.click_at(x, y).await;
    browser.key(&[], 'k').await;
    let (x, y) = browser.place(1.6).await;
    browser.click_at(x, y).await;
    browser.click("[data-testid=add-marker]").await;
    browser.until("document.querySelectorAll('[data-testid=marker]').length === 2").await;
    // Name the first one.
    browser.type_over("[data-testid=marker] input", "door opens").await;
    browser.until("document.querySelector('[data-testid=marker]').dataset.name === 'door opens'").await;
    let times = browser
        .eval("[...document.querySelectorAll('[data-testid=marker]')].map(m => Number(m.dataset.time))")
        .await;
    let time = |i: usize| times[i].as_f64().expect("a time");
    browser.click("[data-testid=lane-shapes]").await;
    browser.key(&[], Key::Home.into()).await;
    browser.key(&[Key::Shift.into()], '>').await;
    let at = |t: f64| format!("Math.abs({TIME} - {t}) < 0.006");
    browser.until(&at(time(0))).await;
    browser.key(&[], 'i').await;
    browser.key(&[Key::Shift.into()], '>').await;
    browser.until(&at(time(1))).await;
    browser.key(&[], 'o').await;
    browser.until("!!document.querySelector('[data-testid=loop-band]')").await;
    browser.key(&[Key::Shift.into()], '<').await;
    browser.until(&at(time(0))).await;
    // The loop begins its pre-roll before the first point, goes round, and never passes the second.
    let select = browser.find("[data-testid=pre-roll]").await;
    select.select_by_value("0.5").await.expect("chosen");
    browser.watch_time().await;
    browser.key(&[], ' ').await;
    browser.until("window.seenTimes.rounds >= 2").await;
    browser.key(&[], ' ').await;
    let seen = browser.eval("[window.seenTimes.least, window.seenTimes.most]").await;
    let (least, most) = (seen[0].as_f64().expect("a time"), seen[1].as_f64().expect("a time"));
    assert!(least < time(0) - 0.2 && least >= time(0) - 0.51, "the run-up begins at {least}");
    assert!(most <= time(1) + 0.006, "the loop ends at {most}");
    // Saved with the project.
    browser.key(&[Key::Control.into()], 's').await;
    let text = std::fs::read_to_string(browser.downloaded(".json").await).expect("the project file");
    let project = lipwright_core::project::Project::from_json(&text).expect("core reads it");
    let names: Vec<_> = project.lines[0].performance.markers().iter().map(|m| m.name.clone()).collect();
    assert_eq!(names, ["door opens", "Marker 2"]);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn time_goes_by_frames_and_stays_so() {
    let browser = demo().await;
    let select = browser.find("[data-testid=time-unit]").await;
    select.select_by_value("25").await.expect("chosen");
    browser.key(&[], Key::Home.into()).await;
    for _ in 0..3 {
        browser.key(&[Key::Shift.into()], Key::Right.into()).await;
    }
    browser.until("document.querySelector('[data-testid=time] b').textContent === '0:00:03'").await;
    // A nudge is one frame.
    let heard = segments(&browser).await;
    let index = roomy(&heard);
    let (x, y) = browser.place((heard[index].start + heard[index].end) / 2.0).await;
    browser.click_at(x, y).await;
    browser.key(&[], '[').await;
    browser.until("document.querySelector('[data-testid=undo]').textContent.includes('move boundary')").await;
    let by = segments(&browser).await[index].start - heard[index].start;
    assert!((by + 0.04).abs() < 2e-4, "moved by {by}");
    browser.client.refresh().await.expect("loaded again");
    browser.until(READY).await;
    assert_eq!(browser.value("[data-testid=time-unit]").await, "25");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_locked_stays_when_a_part_is_listened_to_again() {
    let browser = demo().await;
    let heard = segments(&browser).await;
    let index = roomy(&heard);
    let middle = (heard[index].start + heard[index].end) / 2.0;
    let other = if heard[index].shape == "open" { "pursed" } else { "open" };
    let (x, y) = browser.place(middle).await;
    browser.click_at(x, y).await;
    browser.click(&format!("[data-testid=shape-{other}]")).await;
    browser.until(READY).await;
    // Listened to again, the part is as it was heard.
    browser.key(&[], 'e').await;
    browser
        .until(&format!(
            "{READY} && document.querySelector('[data-testid=undo]').textContent.includes('listen')"
        ))
        .await;
    let again = segments(&browser).await;
    let at =
        |shown: &[Shown]| shown.iter().find(|s| s.start <= middle && middle < s.end).expect("inside").clone();
    assert_ne!(at(&again).shape, other, "the hand edit went");
    for (a, b) in again.iter().zip(&heard).take(index) {
        assert_eq!((a.start, &a.shape), (b.start, &b.shape), "before it, nothing changed");
    }
    // Locked, it stays as it was set, while its neighbour is heard again.
    let beside = &again[again.iter().position(|s| s.start > middle).expect("a neighbour")];
    let beside_middle = (beside.start + beside.end) / 2.0;
    let wrong = if beside.shape == "open" { "pursed" } else { "open" };
    for (at, shape) in [(beside_middle, wrong), (middle, other)] {
        let (x, y) = browser.place(at).await;
        browser.click_at(x, y).await;
        browser.click(&format!("[data-testid=shape-{shape}]")).await;
        browser.until(READY).await;
    }
    browser.click("[data-testid=lock]").await;
    browser.until("document.querySelector('[data-testid=lock]').ariaPressed === 'true'").await;
    browser.key(&[Key::Shift.into(), Key::Alt.into()], Key::Right.into()).await;
    browser.key(&[], 'e').await;
    browser
        .until(&format!(
            "{READY} && document.querySelector('[data-testid=undo]').textContent.includes('listen')"
        ))
        .await;
    let shown = segments(&browser).await;
    assert!(at(&shown).shape == other && at(&shown).locked, "{:?}", at(&shown));
    let beside = shown.iter().find(|s| s.start <= beside_middle && beside_middle < s.end).expect("inside");
    assert_ne!(beside.shape, wrong);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_changed_word_is_aligned_alone_and_other_hand_edits_stay() {
    let browser = demo().await;
    let heard = segments(&browser).await;
    // A hand edit at the start of the line, the changed word at its end.
    let (x, y) = browser.place((heard[1].start + heard[1].end) / 2.0).await;
    browser.click_at(x, y).await;
    let other = if heard[1].shape == "pursed" { "open" } else { "pursed" };
    browser.click(&format!("[data-testid=shape-{other}]")).await;
    browser.until(READY).await;
    browser.click("[data-testid=script]").await;
    let script = browser.value("[data-testid=script-text]").await;
    let last = script.trim().rsplit(' ').next().expect("a word");
    let changed = script.trim().replacen(last, &format!("very {last}"), 1);
    let field = browser.find("[data-testid=script-text]").await;
    field.clear().await.expect("cleared");
    field.send_keys(&changed).await.expect("typed");
    browser.click("[data-testid=align]").await;
    browser
        .until(&format!("{READY} && document.querySelector('[data-testid=undo]').textContent.includes('align changed words')"))
        .await;
    let after = segments(&browser).await;
    assert_eq!(after[1].shape, other);
    let half = heard.len() / 2;
    for i in 2..half {
        assert_eq!((after[i].start, &after[i].shape), (heard[i].start, &heard[i].shape), "segment {i}");
    }
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_held_while_it_plays_paints_from_press_to_release() {
    let browser = demo().await;
    let before = segments(&browser).await;
    browser.key(&[], 'b').await;
    browser.until("document.querySelectorAll('.palette kbd').length === 14").await;
    browser.key(&[], Key::Home.into()).await;
    // At quarter speed there is time for it on a busy machine, too.
    browser.key(&[], ',').await;
    browser.key(&[], ',').await;
    browser.key(&[], ' ').await;
    browser.until(&format!("{TIME} > 0.5")).await;
    // The last mouth of the upper row.
    browser.hold('u').await;
    browser.until("!!document.querySelector('[data-testid=stroke]')").await;
    let pressed = browser.eval(TIME).await.as_f64().expect("a time");
    browser.until(&format!("{TIME} > {pressed} + 0.4")).await;
    browser.let_go('u').await;
    browser.until("document.querySelector('[data-testid=undo]').textContent.includes('paint')").await;
    let released = browser.eval(TIME).await.as_f64().expect("a time");
    browser.key(&[], ' ').await;
    browser.until(READY).await;
    let shape = browser.eval("document.querySelectorAll('.palette .mouth')[6].dataset.testid.slice(6)").await;
    let painted: Vec<_> = segments(&browser)
        .await
        .into_iter()
        .filter(|s| *s.shape == *shape.as_str().expect("a name") && s.end - s.start > 0.3)
        .collect();
    let stroke = painted.iter().find(|s| s.start > 0.45 && s.end <= released + 0.02).expect("a stroke");
    assert!(
        stroke.start <= pressed + 0.011 && stroke.end >= pressed + 0.39,
        "{stroke:?}, pressed at {pressed}"
    );
    // One undo takes the stroke back.
    browser.key(&[Key::Control.into()], 'z').await;
    browser.until("document.querySelector('[data-testid=undo]').disabled").await;
    let bare = |shown: &[Shown]| shown.iter().map(|s| (s.start, s.shape.clone())).collect::<Vec<_>>();
    assert_eq!(bare(&segments(&browser).await), bare(&before));
    browser.close().await;
}

/// A sample line that the page does not bring along is heard and looked over, too.
#[tokio::test(flavor = "multi_thread")]
async fn a_line_brought_in_is_looked_over() {
    let browser = demo().await;
    let path: &Path = &sample_lines()[1];
    let input = browser.find("[data-testid=file]").await;
    input.send_keys(&path.to_string_lossy()).await.expect("the file is chosen");
    let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
    browser
        .until(&format!(
            "{READY} && document.querySelector('[data-testid=line]').selectedOptions[0].textContent.includes('{name}')
               && Number(document.querySelector('[data-testid=segments]').dataset.changes) > 5"
        ))
        .await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn problems_come_by_weight_and_are_gone_through_in_order() {
    let browser = demo().await;
    let listed =
        "[...document.querySelectorAll('[data-testid=problems] li[data-kind]')].map(l => l.dataset.kind)";
    let kinds = browser.eval(listed).await;
    let kinds: Vec<&str> = kinds.as_array().expect("a list").iter().filter_map(Value::as_str).collect();
    let order = ["closure", "tongue", "skin", "current", "shape", "doubt"];
    let rank = |kind: &str| order.iter().position(|k| *k == kind).expect("a known kind");
    assert!(kinds.len() > 2, "the demo line is not all easy: {kinds:?}");
    assert!(kinds.windows(2).all(|w| rank(w[0]) <= rank(w[1])), "{kinds:?}");
    // Counts by kind say how many there are, and choose what is listed.
    let last = kinds[kinds.len() - 1];
    let many = kinds.iter().filter(|k| **k == last).count();
    let chip = format!("[data-testid=kind-{last}]");
    assert!(browser.text(&chip).await.starts_with(&format!("{many} ")));
    browser.click(&chip).await;
    browser.until(&format!("({listed}).length === {many}")).await;
    browser.click(&chip).await;
    browser.until(&format!("({listed}).length === {}", kinds.len())).await;
    // P goes through them in the order of the list; an edit does not send it back to the first.
    let current = "[...document.querySelectorAll('[data-testid=problems] li[data-kind]')].findIndex(l => l.ariaCurrent === 'true')";
    for place in 0..2 {
        browser.key(&[], 'p').await;
        browser.until(&format!("({current}) === {place}")).await;
    }
    let score = browser.text("[data-testid=score]").await;
    assert!(score.starts_with("Score ") && !score.contains("was"), "{score}");
    // Half the strength everywhere asks less of the head, and the score before stays to compare with.
    browser.key(&[Key::Control.into()], 'a').await;
    for _ in 0..5 {
        browser.key(&[], Key::Down.into()).await;
    }
    browser
        .until(&format!(
            "{READY} && document.querySelector('[data-testid=score]').textContent.includes('was')"
        ))
        .await;
    let number = |text: &str| -> f64 {
        text.trim_start_matches("Score ").split(',').next().and_then(|n| n.parse().ok()).expect("a number")
    };
    let now = browser.text("[data-testid=score]").await;
    assert!(
        now.ends_with(&format!("was {}", number(&score))) && number(&now) > number(&score),
        "{now}, {score}"
    );
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_map_of_the_line_moves_the_view_and_the_spectrogram_takes_the_waves_place() {
    let browser = demo().await;
    for _ in 0..4 {
        browser.click("[data-testid=zoom-in]").await;
    }
    let window = "(() => { const m = document.querySelector('[data-testid=minimap]').getBoundingClientRect();
        const w = document.querySelector('[data-testid=minimap-window]').getBoundingClientRect();
        return [w.left - m.left, w.width, m.left, m.top + m.height / 2, m.width]; })()";
    let part = |v: &Value, i: usize| v[i].as_f64().expect("a length");
    let before = browser.eval(window).await;
    assert!(part(&before, 1) < 0.4 * part(&before, 4), "four steps in, a part is in view");
    // Drag the part in view to the right by a fifth of the map: the view goes along.
    let look = "document.querySelector('[data-testid=lane-shapes]').toDataURL()";
    let shapes = browser.eval(look).await;
    let from = (part(&before, 2) + part(&before, 0) + part(&before, 1) / 2.0, part(&before, 3));
    browser.drag(from, (from.0 + 0.2 * part(&before, 4), from.1)).await;
    let wanted = part(&before, 0) + 0.2 * part(&before, 4);
    browser.until(&format!("Math.abs(({window})[0] - {wanted}) < 3")).await;
    browser.until(&format!("({look}) !== {shapes}")).await;
    // With the arrow keys as well.
    browser
        .find("[data-testid=minimap]")
        .await
        .send_keys(&char::from(Key::Left).to_string())
        .await
        .expect("a key");
    browser.until(&format!("({window})[0] < {wanted} - 5")).await;

    browser.click("[data-testid=spectrogram]").await;
    browser.until("!!document.querySelector('[data-testid=lane-spectrogram]')").await;
    // Speech is not of one colour: loud bands and quiet ones differ.
    let shades = "(() => { const c = document.querySelector('[data-testid=lane-spectrogram]'); if (!c.width) return 0;
        const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; const seen = new Set();
        for (let i = 0; i < d.length; i += 4) seen.add((d[i] << 16) + (d[i + 1] << 8) + d[i + 2]); return seen.size; })()";
    browser.until(&format!("({shades}) > 40")).await;
    browser.click("[data-testid=spectrogram]").await;
    browser.until("!!document.querySelector('[data-testid=lane-wave]')").await;
    browser.close().await;
}
