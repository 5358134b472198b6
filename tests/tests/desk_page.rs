//! The desk around the line, in a real browser: what is kept and comes back, files, playing, the tour,
//! working without a network.

use fantoccini::key::Key;
use lipwright_core::project::Project;
use lipwright_tests::browser::{Browser, Setup};
use lipwright_tests::desk::{
    KEPT, READY, ROWS, choose, count, delete_one, error_says, has_line, lines, opened, segments, settled,
};
use lipwright_tests::{sample_lines, workspace};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;

/// A recording of the person's own, and the folder that goes with it when it is dropped.
fn harbour_bell() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let own = folder.path().join("harbour bell.wav");
    std::fs::copy(&sample_lines()[1], &own).expect("a recording");
    (folder, own)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_browser_that_is_killed_comes_back_with_every_line_and_edit() {
    let (_folder, own) = harbour_bell();
    let mut browser = opened().await;
    choose(&browser, &[&own]).await;
    has_line(&browser, "harbour bell").await;
    settled(&browser).await;
    delete_one(&browser).await;
    browser.until(KEPT).await;
    let (edited, names) = (segments(&browser).await, lines(&browser).await);
    browser.kill_and_open_again().await;
    settled(&browser).await;
    assert_eq!(lines(&browser).await, names, "every line, in order");
    assert_eq!(
        browser.eval("document.querySelector('[data-testid=line]').selectedOptions[0].textContent").await,
        "harbour bell"
    );
    assert_eq!(segments(&browser).await, edited);
    // The recording came back, too: it can be saved whole.
    browser.key(&[Key::Control.into()], 's').await;
    let text = std::fs::read_to_string(browser.downloaded(".lipwright.json").await).expect("a file");
    let project = Project::from_json(&text).expect("a project");
    let line = project.lines.iter().find(|l| l.name == "harbour bell").expect("the line");
    let sound = line.audio.embedded().expect("whole").expect("carried");
    assert_eq!(sound, std::fs::read(&own).expect("the recording"));
    browser.close().await;
}

/// The browser's own hashing waits from now on until `window.answer()`; `window.hashed` lists the sizes of what it
/// was given.
const HASHES_WAIT: &str = "(() => {
    const digest = crypto.subtle.digest.bind(crypto.subtle), answered = new Promise(r => { window.answer = r; });
    window.hashed = [];
    crypto.subtle.digest = async (name, data) => {
        window.hashed.push(data.byteLength);
        const hash = await digest(name, data);
        await answered;
        return hash;
    };
    return true; })()";

#[tokio::test(flavor = "multi_thread")]
async fn a_recording_is_hashed_once_and_a_late_hash_holds_nothing_up() {
    let (_folder, own) = harbour_bell();
    let size = std::fs::metadata(&own).expect("the recording").len();
    let mut browser = opened().await;
    browser.until(KEPT).await;
    browser.eval(HASHES_WAIT).await;
    choose(&browser, &[&own]).await;
    browser.until(&format!("window.hashed.includes({size})")).await;
    // Something else is to be kept while the hash is not there.
    browser.click("[data-testid=project]").await;
    browser.type_over("[data-testid=project-name]", "Ebb").await;
    browser.key(&[], Key::Tab.into()).await;
    tokio::time::sleep(std::time::Duration::from_secs(1)).await;
    assert_eq!(browser.eval(KEPT).await, Value::Bool(false), "a line cannot be kept without its hash");
    browser.eval("(window.answer(), true)").await;
    has_line(&browser, "harbour bell").await;
    settled(&browser).await;
    browser.until(KEPT).await;
    assert_eq!(browser.eval(&format!("window.hashed.filter(n => n === {size}).length")).await, json!(1));
    let heard = segments(&browser).await;
    browser.kill_and_open_again().await;
    settled(&browser).await;
    assert_eq!(segments(&browser).await, heard);
    browser.click("[data-testid=project]").await;
    assert_eq!(browser.value("[data-testid=project-name]").await, "Ebb");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn without_the_browsers_hashing_recordings_are_kept_all_the_same() {
    let (_folder, own) = harbour_bell();
    let mut browser = opened().await;
    // As where the page came over a plain network connection.
    browser.eval("(Object.defineProperty(crypto, 'subtle', { value: undefined }), true)").await;
    choose(&browser, &[&own]).await;
    has_line(&browser, "harbour bell").await;
    settled(&browser).await;
    browser.until(KEPT).await;
    let heard = segments(&browser).await;
    browser.kill_and_open_again().await;
    settled(&browser).await;
    assert_eq!(segments(&browser).await, heard);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn earlier_states_are_looked_at_and_brought_back() {
    let browser = opened().await;
    let first = segments(&browser).await;
    delete_one(&browser).await;
    browser.until(KEPT).await;
    browser.key(&[], 's').await;
    browser.until(KEPT).await;
    let last = segments(&browser).await;
    let look_at_listened = async |browser: &Browser| {
        browser.click("[data-testid=project]").await;
        browser
            .eval(
                "[...document.querySelectorAll('[data-testid=history] li')]
                   .find(l => l.textContent.includes('listened')).querySelector('button').setAttribute('id', 'wanted')",
            )
            .await;
        browser.click("#wanted").await;
        browser.until(&format!("{READY} && !!document.querySelector('[data-testid=looking]')")).await;
    };
    look_at_listened(&browser).await;
    assert_eq!(segments(&browser).await, first);
    browser.click("[data-testid=to-newest]").await;
    browser.until(&format!("{READY} && !document.querySelector('[data-testid=looking]')")).await;
    assert_eq!(segments(&browser).await, last, "looking changes nothing");

    look_at_listened(&browser).await;
    browser.click("[data-testid=go-on]").await;
    browser.until(&format!("{KEPT} && !document.querySelector('[data-testid=looking]')")).await;
    browser.client.refresh().await.expect("the page loads again");
    settled(&browser).await;
    assert_eq!(segments(&browser).await, first);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_second_tab_says_so_writes_nothing_and_can_take_over() {
    let browser = opened().await;
    let client = browser.client.clone();
    let first = client.window().await.expect("a window");
    let kept = segments(&browser).await;
    let second = client.new_window(true).await.expect("a second tab");
    client.switch_to_window(second.handle.clone()).await.expect("to the second");
    client.goto(browser.url()).await.expect("the page loads");
    browser
        .until(&format!(
            "{READY} && {ROWS}.length > 1 && !!document.querySelector('[data-testid=elsewhere]')"
        ))
        .await;
    assert_eq!(segments(&browser).await, kept, "the second tab shows the same project");
    delete_one(&browser).await;
    assert_eq!(browser.eval("document.body.dataset.kept").await, "no");

    // The first tab's work is what stays.
    client.switch_to_window(first.clone()).await.expect("to the first");
    delete_one(&browser).await;
    delete_one(&browser).await;
    browser.until(KEPT).await;
    let firsts = segments(&browser).await;

    client.switch_to_window(second.handle.clone()).await.expect("to the second");
    browser.click("[data-testid=work-here]").await;
    browser.until(&format!("{READY} && !document.querySelector('[data-testid=elsewhere]')")).await;
    settled(&browser).await;
    assert_eq!(segments(&browser).await, firsts);
    delete_one(&browser).await;
    browser.until(KEPT).await;
    client.switch_to_window(first).await.expect("to the first");
    browser.until("!!document.querySelector('[data-testid=elsewhere]')").await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_browser_that_stores_nothing_says_so_and_works() {
    let browser = Browser::open_as(Setup { no_storage: true, ..Setup::default() }).await;
    error_says(&browser, "cannot be kept in this browser").await;
    browser.click("[data-testid=error] button").await;
    browser.until(&format!("{READY} && {ROWS}.length > 1")).await;
    delete_one(&browser).await;
    browser.until(READY).await;
    browser.click("[data-testid=project]").await;
    assert!(browser.text("[data-testid=kept-where]").await.contains("keeps nothing"));
    browser.click("[data-testid=dialog-close]").await;
    browser.key(&[Key::Control.into()], 's').await;
    let text = std::fs::read_to_string(browser.downloaded(".lipwright.json").await).expect("a file");
    let project = Project::from_json(&text).expect("a project");
    assert_eq!(project.lines[0].performance.segments().len() as u64, count(&browser).await);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn files_that_come_together_find_together() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    for (name, from) in [("quay.wav", 0), ("gulls.wav", 2)] {
        std::fs::copy(&sample_lines()[from], path(name)).expect("a recording");
    }
    std::fs::write(path("gulls.txt"), "Mind the gulls.\n").expect("written");
    std::fs::write(path("broken.wav"), b"RIFF\x10\0\0\0WAVEjunk").expect("written");
    let browser = opened().await;
    let before = lines(&browser).await;
    choose(&browser, &[&path("quay.wav"), &path("gulls.txt"), &path("gulls.wav")]).await;
    has_line(&browser, "quay").await;
    settled(&browser).await;
    let now = lines(&browser).await;
    assert_eq!(now[before.len()..], ["gulls", "quay"], "in the order of their names");
    assert_eq!(
        browser.eval("document.querySelector('[data-testid=line]').selectedOptions[0].textContent").await,
        "gulls"
    );
    browser.click("[data-testid=script]").await;
    assert_eq!(browser.value("[data-testid=script-text]").await, "Mind the gulls.");
    browser.click("[data-testid=dialog-close]").await;

    // A file that is no sound goes again and leaves the line that was open.
    choose(&browser, &[&path("broken.wav")]).await;
    error_says(&browser, "broken.wav could not be read").await;
    assert_eq!(lines(&browser).await, now);
    browser.click("[data-testid=error] button").await;

    // Dropped: a script alone belongs to the open line.
    browser
        .eval(
            "(() => { const data = new DataTransfer();
                      data.items.add(new File(['Mind the other gulls.'], 'note.txt'));
                      document.querySelector('.app').dispatchEvent(new DragEvent('drop', { dataTransfer: data, bubbles: true, cancelable: true }));
                      return true; })()",
        )
        .await;
    browser
        .until(&format!(
            "{READY} && {KEPT} && [...document.querySelectorAll('[data-testid=project]')].length === 1"
        ))
        .await;
    browser.click("[data-testid=script]").await;
    browser
        .until("document.querySelector('[data-testid=script-text]').value === 'Mind the other gulls.'")
        .await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn lines_are_named_ordered_and_taken_out() {
    let browser = opened().await;
    let before = lines(&browser).await;
    browser.click("[data-testid=project]").await;
    browser.type_over("[data-testid=line-name-1]", "Bell in the storm").await;
    browser.click("[data-testid=line-up-1]").await;
    browser.until("document.querySelector('[data-testid=line-name-0]').value === 'Bell in the storm'").await;
    browser.click("[data-testid=line-remove-3]").await;
    browser.type_over("[data-testid=project-name]", "Pier").await;
    browser.until(&format!("{KEPT} && !document.querySelector('[data-testid=line-remove-3]')")).await;
    browser.client.refresh().await.expect("the page loads again");
    settled(&browser).await;
    let expected = ["Bell in the storm".to_owned(), before[0].clone(), before[2].clone()];
    assert_eq!(lines(&browser).await, expected);
    assert_eq!(browser.eval("document.querySelector('[data-testid=line] optgroup').label").await, "Pier");
    assert_eq!(
        browser.eval("document.querySelector('[data-testid=line]').selectedOptions[0].textContent").await,
        before[0].as_str(),
        "the open line stays open"
    );
    // An empty project says what to do.
    browser.click("[data-testid=project]").await;
    browser.click("[data-testid=project-new]").await;
    browser.until("!!document.querySelector('[data-testid=nothing-open]')").await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn saving_again_writes_the_same_file() {
    let browser = opened().await;
    // The system's dialog cannot be driven; what it hands out can be had from the page's own files.
    browser
        .eval(
            "(window.asked = 0, window.showSaveFilePicker = async (options) => {
                 window.asked += 1;
                 const root = await navigator.storage.getDirectory();
                 return root.getFileHandle(options.suggestedName, { create: true });
             }, true)",
        )
        .await;
    let saved = "(document.querySelector('[data-testid=note]').textContent.startsWith('Saved harbour-museum.lipwright.json'))";
    browser.key(&[Key::Control.into()], 's').await;
    browser.until(saved).await;
    let title =
        "document.querySelector('[data-testid=save]').title.includes('harbour-museum.lipwright.json')";
    browser.until(title).await;
    delete_one(&browser).await;
    let shapes = count(&browser).await;
    browser.until(&format!("{READY} && document.title.startsWith('•')")).await;
    browser.key(&[Key::Control.into()], 's').await;
    browser.until("!document.title.startsWith('•')").await;
    assert_eq!(browser.eval("window.asked").await, 1, "the person is asked once");
    browser
        .eval(
            "(navigator.storage.getDirectory().then(r => r.getFileHandle('harbour-museum.lipwright.json'))
               .then(h => h.getFile()).then(f => f.text()).then(t => window.written = t), true)",
        )
        .await;
    browser.until("typeof window.written === 'string'").await;
    let text = browser.eval("window.written").await;
    let project = Project::from_json(text.as_str().expect("text")).expect("a project");
    assert_eq!(project.lines[0].performance.segments().len() as u64, shapes);
    // Another file is another question.
    browser.key(&[Key::Control.into(), Key::Shift.into()], 's').await;
    browser.until("window.asked === 2").await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn slower_is_not_lower_and_the_picture_waits_for_the_ear() {
    let browser = opened().await;
    browser
        .eval(
            "(() => { window.started = [];
                      const start = AudioBufferSourceNode.prototype.start;
                      AudioBufferSourceNode.prototype.start = function (when, ...rest) {
                        window.started.push([when, this.buffer.duration, this.playbackRate.value]);
                        return start.call(this, when, ...rest);
                      };
                      return true; })()",
        )
        .await;
    // Two steps slower: half speed.
    browser.key(&[], ',').await;
    browser.key(&[], ',').await;
    browser
        .until("document.querySelector('[aria-label=\"Speed 0.5\"]').getAttribute('aria-pressed') === 'true'")
        .await;
    browser.key(&[], Key::Home.into()).await;
    browser.key(&[], ' ').await;
    browser.until("window.started.length > 5").await;
    browser.key(&[], ' ').await;
    let started = browser.eval("window.started").await;
    let number = |v: &Value| v.as_f64().expect("a number");
    let rows: Vec<_> = started
        .as_array()
        .expect("a list")
        .iter()
        .map(|r| (number(&r[0]), number(&r[1]), number(&r[2])))
        .collect();
    for pair in rows.windows(2) {
        assert_eq!(pair[0].2, 1.0, "no piece is played at another rate: that would change its pitch");
        assert!((pair[0].0 + pair[0].1 - pair[1].0).abs() < 1e-6, "pieces follow each other without a gap");
    }

    // The clock is held still: what shows is what is heard, and that is later than what is played.
    browser.key(&[], '.').await;
    browser.key(&[], '.').await;
    browser.key(&[], Key::Home.into()).await;
    browser
        .eval(
            "(() => { window.now = 100; window.late = 0.2;
                      Object.defineProperty(BaseAudioContext.prototype, 'currentTime', { get: () => window.now });
                      Object.defineProperty(AudioContext.prototype, 'outputLatency', { get: () => window.late });
                      return true; })()",
        )
        .await;
    browser.key(&[], ' ').await;
    browser.eval("(window.now = 101.02, true)").await;
    // 1.02 s after a start that is 0.02 s ahead, less 0.2 s on the way to the ear: within a frame of 0.8 s.
    let shown = "Number(document.querySelector('[data-testid=time] b').textContent)";
    browser.until(&format!("{shown} >= 0.8 && {shown} <= 0.82")).await;
    browser.eval("(window.late = 0, true)").await;
    browser.until(&format!("{shown} >= 1.0 && {shown} <= 1.02")).await;
    browser.key(&[], ' ').await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_stage_is_mirrored_and_fills_the_screen() {
    let browser = opened().await;
    let flipped = "getComputedStyle(document.querySelector('[data-testid=stage-front]')).transform.startsWith('matrix(-1')";
    assert_eq!(browser.eval(flipped).await, false);
    browser.key(&[], 'v').await;
    browser.until(flipped).await;
    browser.click("[data-testid=mirror]").await;
    browser.until(&format!("!({flipped})")).await;
    browser.key(&[], 'z').await;
    browser.until("document.fullscreenElement?.classList.contains('stage') === true").await;
    browser.key(&[], 'z').await;
    browser.until("document.fullscreenElement === null").await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_tour_points_at_things_and_stays_away_once_closed() {
    let browser = opened().await;
    browser.click("[data-testid=tour-start]").await;
    for step in 1..=6 {
        browser
            .until(&format!("document.querySelector('[data-testid=tour]')?.dataset.step === '{step}'"))
            .await;
        // The ring lies round something, and the card is on the screen, whole.
        browser
            .until(
                "(() => { const r = document.querySelector('.ring').getBoundingClientRect();
                          const c = document.querySelector('[data-testid=tour]').getBoundingClientRect();
                          return r.width > 10 && r.height > 10 && c.left >= 0 && c.top >= 0
                            && c.right <= innerWidth && c.bottom <= innerHeight; })()",
            )
            .await;
        // By keyboard: the button has the focus.
        browser.key(&[], Key::Enter.into()).await;
    }
    browser.until("!document.querySelector('[data-testid=tour]')").await;
    browser.client.refresh().await.expect("the page loads again");
    settled(&browser).await;
    assert_eq!(browser.eval("!!document.querySelector('[data-testid=tour-offer]')").await, false);
    browser.key(&[], '?').await;
    browser.click("[data-testid=tour-again]").await;
    browser.until("!!document.querySelector('[data-testid=tour]')").await;
    browser.key(&[], Key::Escape.into()).await;
    browser.until("!document.querySelector('[data-testid=tour]')").await;
    browser.close().await;
}

/// A microphone that hears one of the sample lines, over and over.
fn microphone() -> Setup {
    let sound = sample_lines()[0].display().to_string();
    let arguments = vec![
        "--use-fake-device-for-media-stream".to_owned(),
        "--use-fake-ui-for-media-stream".to_owned(),
        format!("--use-file-for-fake-audio-capture={sound}"),
    ];
    Setup { arguments, ..Setup::default() }
}

/// Records until there is enough to hear something in; `number` is what the recording then is.
async fn record(browser: &Browser, number: usize) {
    browser.until("document.querySelector('[data-testid=record-go]').textContent === 'Record' && !document.querySelector('[data-testid=record-go]').disabled").await;
    browser.click("[data-testid=record-go]").await;
    browser.until("parseFloat(document.querySelector('[data-testid=record-length]').textContent) > 4").await;
    browser.click("[data-testid=record-go]").await;
    browser.until(&format!("!!document.querySelector('[data-testid=dub-line-{number}]')")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_is_recorded_again_and_keeps_both_recordings() {
    let browser = Browser::open_as(microphone()).await;
    settled(&browser).await;
    browser.click("[data-testid=record]").await;
    // The level moves, and three beats are counted.
    browser.until("document.querySelector('[data-testid=record-level]').value > 0.2").await;
    browser
        .eval(
            "(window.beats = [], new MutationObserver(() => {
                 const text = document.querySelector('[data-testid=record-go]')?.textContent;
                 if (text !== window.beats.at(-1)) window.beats.push(text);
             }).observe(document.querySelector('[data-testid=record-go]'), { childList: true, characterData: true, subtree: true }), true)",
        )
        .await;
    record(&browser, 1).await;
    assert_eq!(browser.eval("window.beats").await, json!(["3 …", "2 …", "1 …", "Stop", "Record"]));
    browser.click("[data-testid=dub-line-1]").await;
    has_line(&browser, "Recording 1").await;
    settled(&browser).await;
    let heard = segments(&browser).await;
    assert!(count(&browser).await > 8, "what was recorded is speech: {heard:?}");
    delete_one(&browser).await;
    browser.until(&format!("{READY} && {KEPT}")).await;
    let edited = segments(&browser).await;

    // The same line once more; the first recording stays with it, corrections and all.
    browser.click("[data-testid=record]").await;
    browser.click("[data-testid=record-count]").await;
    record(&browser, 2).await;
    browser.click("[data-testid=dub-use-2]").await;
    browser.until(&format!("{READY} && {KEPT} && {ROWS}.length > 1")).await;
    assert_ne!(segments(&browser).await, edited);
    browser.client.refresh().await.expect("the page loads again");
    settled(&browser).await;
    browser.click("[data-testid=record]").await;
    browser.click("[data-testid=other-use-0]").await;
    browser.until(&format!("{READY} && {KEPT} && {ROWS}.length > 1")).await;
    assert_eq!(segments(&browser).await, edited);
    browser.close().await;
}

fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder");
    for entry in std::fs::read_dir(from).expect("a folder").filter_map(Result::ok) {
        let (path, name) = (entry.path(), entry.file_name());
        if path.is_dir() {
            copy_folder(&path, &to.join(name));
        } else {
            std::fs::copy(&path, to.join(name)).expect("copied");
        }
    }
}

/// Has the browser look for a new build, and waits until that has come to this.
async fn update(browser: &Browser, state: &str) {
    browser
        .eval(
            "(window.came = '', navigator.serviceWorker.getRegistration().then(r => {
                 r.addEventListener('updatefound', () => {
                     const worker = r.installing;
                     worker.addEventListener('statechange', () => window.came = worker.state);
                 }, { once: true });
                 return r.update();
             }), true)",
        )
        .await;
    browser.until(&format!("window.came === '{state}'")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn it_works_without_a_network_and_goes_over_to_a_new_build_whole() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut browser = opened().await;
    browser.until("document.body.dataset.offline === 'ready'").await;

    // A server in the middle of being given a new build: one file is of another build than the list
    // says. Nothing of it is taken.
    let half = folder.path().join("half");
    copy_folder(&workspace().join("dist"), &half);
    let list = half.join("sw.js");
    let text = std::fs::read_to_string(&list).expect("the worker");
    let at = text.find("[\"style.css\", \"").expect("the style sheet is listed") + 15;
    let other = format!("{}{}{}", &text[..at], "0".repeat(64), &text[at + 64..]);
    std::fs::write(&list, other.replacen("const VERSION = \"", "const VERSION = \"x", 1)).expect("written");
    // From the second visit on, pages come from what is kept.
    browser.client.refresh().await.expect("the page loads again");
    settled(&browser).await;
    browser.serve(half);
    update(&browser, "redundant").await;
    assert_eq!(browser.eval("document.body.dataset.update ?? ''").await, "");

    // The next build, whole: offered, and gone over to when the person says so.
    let next = folder.path().join("next");
    copy_folder(&workspace().join("dist"), &next);
    let style = next.join("style.css");
    let sheet = std::fs::read_to_string(&style).expect("the style sheet");
    std::fs::write(&style, format!("{sheet}\nbody {{ --build: next; }}\n")).expect("written");
    let made = Command::new(workspace().join("app/setup/offline.sh"))
        .args([&next, &workspace().join("static/sw.js")])
        .status()
        .expect("bash runs");
    assert!(made.success());
    browser.serve(next);
    let build = "getComputedStyle(document.body).getPropertyValue('--build').trim()";
    update(&browser, "installed").await;
    assert_eq!(browser.eval(build).await, "", "the old build until the person says so");
    browser.click("[data-testid=go-over]").await;
    browser.until(&format!("{build} === 'next'")).await;
    settled(&browser).await;
    browser.eval("(caches.keys().then(k => window.caches_left = k.length), true)").await;
    browser.until("window.caches_left === 1").await;

    browser.cut_network();
    browser.client.refresh().await.expect("the page loads without a network");
    settled(&browser).await;
    assert_eq!(browser.eval(build).await, "next");
    // Another sample line and the dictionary, which were not asked for before.
    let select = browser.find("[data-testid=line]").await;
    select.select_by_value("2").await.expect("chosen");
    settled(&browser).await;
    assert_eq!(browser.eval("!!document.querySelector('[data-testid=error]')").await, json!(false));
    browser.close().await;
}
