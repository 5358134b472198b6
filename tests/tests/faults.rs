//! What goes wrong outside the page: storage that refuses, a worker that dies, names that are markup.
//! Nothing is lost, and the words say what to do.
//!
//! Faults are put in by replacing what the browser offers; everything else goes through the page.

use fantoccini::key::Key;
use lipwright_core::line::Line;
use lipwright_core::project::{AudioRef, Project, ProjectLine};
use lipwright_core::units::Seconds;
use lipwright_tests::browser::{Browser, Setup};
use lipwright_tests::desk::{
    KEPT, READY, ROWS, Shown, choose, delete_one, dismiss, error_says, lines, opened, opened_as, segments,
    segments_and_kept, settled,
};
use lipwright_tests::memory::built_for;
use lipwright_tests::sample_lines;
use std::io::Write;
use std::path::Path;
use std::time::Duration;

/// Selects the third segment with the arrow keys and deletes it.
async fn edit(browser: &Browser) {
    browser.key(&[], Key::Home.into()).await;
    for _ in 0..3 {
        browser.key(&[], Key::Right.into()).await;
    }
    browser.click("[data-testid=delete]").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn full_storage_is_said_and_the_work_goes_to_a_file() {
    let browser = opened().await;
    let count = browser.eval(&format!("{ROWS}.length")).await.as_u64().expect("a count");
    browser
        .eval("(IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); }) && true")
        .await;
    edit(&browser).await;
    error_says(&browser, "cannot be kept in this browser").await;
    error_says(&browser, "save the project to a file").await;
    browser.click("[data-testid=error] button").await;
    browser.click("[data-testid=save]").await;
    let file = browser.downloaded(".lipwright.json").await;
    let text = std::fs::read_to_string(file).expect("a file");
    let project = Project::from_json(&text).expect("a project");
    let saved = project.lines[0].performance.segments().len() as u64;
    assert!(saved < count, "the edit is in the file: {saved} of {count}");
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_worker_that_dies_is_replaced_and_nothing_is_lost() {
    let browser = opened().await;
    let count = browser.eval(&format!("{ROWS}.length")).await.as_u64().expect("a count");
    browser
        .eval(
            "(() => { const post = Worker.prototype.postMessage;
                      Worker.prototype.postMessage = function () {
                        Worker.prototype.postMessage = post;
                        setTimeout(() => this.dispatchEvent(new ErrorEvent('error', { message: 'out of memory' })));
                      };
                      return true; })()",
        )
        .await;
    edit(&browser).await;
    error_says(&browser, "the worker failed (out of memory)").await;
    browser.click("[data-testid=error] button").await;
    let after = browser.eval(&format!("{ROWS}.length")).await.as_u64().expect("a count");
    assert!(after < count, "the edit stands");
    // The new worker works: the next edit is planned.
    edit(&browser).await;
    browser.until(READY).await;
    browser.until(&format!("{ROWS}.length < {after}")).await;
    browser.click("[data-testid=export]").await;
    browser.click("[data-testid=export-csv]").await;
    browser.downloaded(".csv").await;
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn names_are_text_and_never_markup() {
    const HOSTILE: &str = "<img src=x onerror=\"window.broken=1\"><script>window.broken=1</script>";
    let folder = tempfile::tempdir().expect("a temporary folder");
    let sound = std::fs::read(&sample_lines()[0]).expect("a recording");
    let line = Line::silent(Seconds::new(6.0)).expect("six seconds");
    let mut project = Project::new(HOSTILE);
    let audio = AudioRef::of(format!("{HOSTILE}.wav"), &sound, line.duration()).embed(&sound);
    project.lines.push(ProjectLine::new(HOSTILE, audio, HOSTILE, line));
    let path = folder.path().join("hostile.json");
    std::fs::write(&path, project.to_json()).expect("written");

    let browser = opened().await;
    let input = browser.find("[data-testid=file]").await;
    input.send_keys(&path.to_string_lossy()).await.expect("the file is chosen");
    browser.until("document.querySelector('[data-testid=line]').textContent.includes('<img')").await;
    browser.until(READY).await;
    // A file with such a name that cannot be read comes back in an error.
    let broken = folder.path().join("<img src=x onerror=window.broken=1>.json");
    std::fs::write(&broken, "{").expect("written");
    let input = browser.find("[data-testid=file]").await;
    input.send_keys(&broken.to_string_lossy()).await.expect("the file is chosen");
    error_says(&browser, "<img").await;
    let seen = browser
        .eval("[document.querySelectorAll('img, script:not([src])').length, typeof window.broken]")
        .await;
    assert_eq!(seen, serde_json::json!([0, "undefined"]));
    browser.close().await;
}

/// A recording of silence: a WAV header before so many bytes of 16-bit samples at 16 kHz. On disk it takes
/// no room.
fn silence(path: &Path, bytes: u32) {
    let mut file = std::fs::File::create(path).expect("a file");
    let mut header = b"RIFF".to_vec();
    header.extend((bytes + 36).to_le_bytes());
    header.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    header.extend(16_000u32.to_le_bytes());
    header.extend(32_000u32.to_le_bytes());
    header.extend(b"\x02\0\x10\0data");
    header.extend(bytes.to_le_bytes());
    file.write_all(&header).expect("written");
    file.set_len(44 + u64::from(bytes)).expect("a long file");
}

/// What the program may take besides what it starts with: the demonstration fits many times.
const LITTLE: u64 = 128_000_000;

#[tokio::test(flavor = "multi_thread")]
async fn a_recording_too_large_for_memory_is_refused_in_words_and_nothing_is_lost() {
    let page = built_for(LITTLE);
    let browser = opened_as(Setup { page: Some(page.path().to_owned()), ..Setup::default() }).await;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = |name: &str| folder.path().join(name);
    // More than the page can hold; what the page can hold and the worker cannot turn into sound.
    silence(&path("a whole night.wav"), 400_000_000);
    silence(&path("an evening.wav"), 60_000_000);
    delete_one(&browser).await;
    browser.until(&format!("{READY} && {KEPT}")).await;
    let (edited, names) = (segments(&browser).await, lines(&browser).await);
    for name in ["a whole night.wav", "an evening.wav"] {
        choose(&browser, &[&path(name)]).await;
        error_says(&browser, "memory").await;
        error_says(&browser, "shorter ones").await;
        dismiss(&browser).await;
        browser.until(READY).await;
        assert_eq!(lines(&browser).await, names, "{name}: the lines are as they were");
        assert_eq!(segments(&browser).await, edited, "{name}: the open line is as it was");
    }
    // The page goes on, and so does its worker.
    still_works(browser).await;
}

/// An edit is kept and the line exported: page and worker go on as ever.
async fn still_works(browser: Browser) {
    delete_one(&browser).await;
    browser.until(&format!("{READY} && {KEPT}")).await;
    browser.click("[data-testid=export]").await;
    browser.click("[data-testid=export-csv]").await;
    browser.downloaded(".csv").await;
    browser.close().await;
}

/// A module of WebAssembly with one function `f`, which does what is unreachable.
const TRAP: &str = "[0,97,115,109,1,0,0,0, 1,4,1,96,0,0, 3,2,1,0, 7,5,1,1,102,0,0, 10,5,1,3,0,0,11]";

/// Has the page's thread fall over as a program without memory left does, and waits for the words.
async fn trap(browser: &Browser) -> String {
    browser
        .eval(&format!(
            "(setTimeout(() => new WebAssembly.Instance(new WebAssembly.Module(new Uint8Array({TRAP}))).exports.f()), true)"
        ))
        .await;
    browser.until("!!document.querySelector('[data-testid=stopped][open]')").await;
    browser.text("[data-testid=stopped]").await
}

/// Numbers of the states that the browser keeps.
async fn stored(browser: &Browser) -> String {
    browser
        .eval(
            "(delete document.body.dataset.states, indexedDB.open('lipwright').onsuccess = (event) => {
                const open = event.target.result, all = open.transaction('states').objectStore('states').getAllKeys();
                all.onsuccess = () => { document.body.dataset.states = all.result.join(); open.close(); };
              }, true)",
        )
        .await;
    browser.until("document.body.dataset.states !== undefined").await;
    browser.eval("document.body.dataset.states").await.as_str().expect("numbers").to_owned()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_program_that_falls_over_says_so_writes_nothing_more_and_comes_back() {
    let mut browser = opened().await;
    delete_one(&browser).await;
    browser.until(&format!("{READY} && {KEPT}")).await;
    let kept = segments(&browser).await;
    let words = trap(&browser).await;
    for word in ["memory", "All you did is kept", "Cut the power"] {
        assert!(words.contains(word), "'{words}' lacks '{word}'");
    }
    browser.click("[data-testid=reload]").await;
    browser.until("!document.body.dataset.stopped").await;
    settled(&browser).await;
    assert_eq!(segments(&browser).await, kept);

    // With an edit that could not be kept: what is in memory may be half done, and is not written any more.
    let refuse = "(window.put = IDBObjectStore.prototype.put,
        IDBObjectStore.prototype.put = () => { throw new DOMException('full', 'QuotaExceededError'); }, true)";
    browser.eval(refuse).await;
    delete_one(&browser).await;
    error_says(&browser, "cannot be kept in this browser").await;
    dismiss(&browser).await;
    browser.eval("(IDBObjectStore.prototype.put = window.put, true)").await;
    let before = stored(&browser).await;
    let words = trap(&browser).await;
    assert!(words.contains("untouched") && !words.contains("All you did"), "{words}");
    browser.eval("(document.dispatchEvent(new Event('visibilitychange', { bubbles: true })), true)").await;
    assert_eq!(stored(&browser).await, before);
    browser.kill_and_open_again().await;
    settled(&browser).await;
    assert_eq!(segments(&browser).await, kept);
    browser.close().await;
}

/// Waits until the playhead has moved.
async fn moves(browser: &Browser) {
    browser.eval("(window.stood = document.querySelector('[data-testid=time]').textContent, true)").await;
    browser.until("document.querySelector('[data-testid=time]').textContent !== window.stood").await;
}

async fn plays(browser: &Browser, yes: bool) {
    let label = if yes { "Pause" } else { "Play" };
    browser.until(&format!("document.querySelector('[data-testid=play]').ariaLabel === '{label}'")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn sound_that_is_taken_away_stops_playing_in_words_and_plays_again() {
    let browser = opened().await;
    // The page's own output, seen where it is asked to sound.
    browser
        .eval(
            "(() => { const resume = AudioContext.prototype.resume;
                AudioContext.prototype.resume = function () { window.output = this; return resume.call(this); };
                return true; })()",
        )
        .await;
    browser.click("[data-testid=loop]").await;
    const STILL: &str = "(Object.defineProperty(BaseAudioContext.prototype, 'currentTime',
        { get: () => 1, configurable: true }), true)";
    for (taken, words) in [
        ("(window.output.suspend(), true)", "taken away"),
        ("(window.output.close(), true)", "taken away"),
        // An output that plays nothing: its clock stands still.
        (STILL, "does not move on"),
    ] {
        let clock = "Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, 'currentTime')";
        browser.eval(&format!("(window.clock = {clock}, true)")).await;
        browser.click("[data-testid=play]").await;
        plays(&browser, true).await;
        moves(&browser).await;
        browser.eval(taken).await;
        error_says(&browser, words).await;
        error_says(&browser, "play again").await;
        plays(&browser, false).await;
        browser
            .eval("(Object.defineProperty(BaseAudioContext.prototype, 'currentTime', window.clock), true)")
            .await;
        dismiss(&browser).await;
        browser.click("[data-testid=play]").await;
        moves(&browser).await;
        moves(&browser).await;
        plays(&browser, true).await;
        browser.click("[data-testid=play]").await;
        plays(&browser, false).await;
    }
    browser.close().await;
}

/// From the next writing on, a transaction stays open once so many things were put into it, and nothing
/// more is: a tab killed then is killed in the middle of a save.
async fn hold_writing_after(browser: &Browser, puts: u32) {
    browser
        .eval(&format!(
            "(() => {{ const put = IDBObjectStore.prototype.put; let seen = 0;
                IDBTransaction.prototype.commit = () => {{}};
                IDBObjectStore.prototype.put = function (...all) {{
                  seen += 1;
                  if (seen > {puts}) return {{}};
                  const request = put.apply(this, all);
                  const on = () => {{ window.held = seen >= {puts}; this.get(0).onsuccess = on; }};
                  request.onsuccess = on;
                  return request;
                }};
                return true; }})()"
        ))
        .await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tab_killed_in_the_middle_of_a_save_comes_back_with_the_state_before() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let own = folder.path().join("harbour bell.wav");
    std::fs::copy(&sample_lines()[1], &own).expect("a recording");
    let mut browser = opened().await;
    let names = lines(&browser).await;
    // An edit is two puts: the state and its entry.
    for puts in [1, 2] {
        let before = segments(&browser).await;
        hold_writing_after(&browser, puts).await;
        delete_one(&browser).await;
        browser.until("window.held === true").await;
        browser.kill_tabs();
        browser.kill_and_open_again().await;
        settled(&browser).await;
        assert_eq!(segments(&browser).await, before, "killed after {puts} of two puts");
        assert_eq!(browser.eval("!document.querySelector('[data-testid=error]')").await, true);
    }
    // A new line is three: its recording goes first.
    for puts in [1, 2] {
        hold_writing_after(&browser, puts).await;
        choose(&browser, &[&own]).await;
        browser.until("window.held === true").await;
        browser.kill_tabs();
        browser.kill_and_open_again().await;
        settled(&browser).await;
        assert_eq!(lines(&browser).await, names, "killed after {puts} of three puts");
    }
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_tab_killed_at_any_moment_comes_back_with_a_whole_state_no_older_than_the_last_kept() {
    let mut browser = opened().await;
    for round in 0..5 {
        let mut states: Vec<Vec<Shown>> = vec![segments(&browser).await];
        let mut kept = 0;
        for _ in 0..3 {
            delete_one(&browser).await;
            let (now, all) = segments_and_kept(&browser).await;
            states.push(now);
            kept = if all { states.len() - 1 } else { kept };
        }
        // Somewhere about the time at which the last edit is written.
        tokio::time::sleep(Duration::from_millis(110 * round)).await;
        if segments_and_kept(&browser).await.1 {
            kept = states.len() - 1;
        }
        browser.kill_tabs();
        browser.kill_and_open_again().await;
        settled(&browser).await;
        let back = segments(&browser).await;
        let place = states.iter().position(|s| *s == back);
        assert!(place >= Some(kept), "round {round}: state {place:?} of {}, {kept} was kept", states.len());
        assert_eq!(browser.eval("!document.querySelector('[data-testid=error]')").await, true);
    }
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_that_is_set_back_and_forth_loses_no_state_and_no_order() {
    let browser = opened().await;
    let set = async |by: f64| {
        let clock = format!("(window.now ??= Date.now, Date.now = () => window.now.call(Date) + {by}, true)");
        browser.eval(&clock).await;
    };
    let done =
        "[...document.querySelectorAll('[data-testid=history] li')].map(l => l.children[1].textContent)";
    let history = async || {
        browser.click("[data-testid=project]").await;
        let names = browser.eval(done).await;
        browser.click("[data-testid=dialog-close]").await;
        names.as_array().expect("a list").len()
    };
    let before = history().await;
    const HOUR: f64 = 3_600_000.0;
    // The same thing done each time: were it a moment ago, it would count as one.
    let mut states = Vec::new();
    for (i, by) in [0.0, -HOUR, 48.0 * HOUR, -1_000.0 * HOUR, 0.0].into_iter().enumerate() {
        set(by).await;
        delete_one(&browser).await;
        browser.until(&format!("{READY} && {KEPT}")).await;
        states.push(segments(&browser).await);
        assert_eq!(history().await, before + i + 1, "clock set by {by} ms");
    }
    browser.client.refresh().await.expect("the page loads again");
    settled(&browser).await;
    assert_eq!(segments(&browser).await, states[4], "the newest state, whatever the clock said");
    // Newest first.
    browser.click("[data-testid=project]").await;
    browser.click("[data-testid=history] li:nth-child(3) button").await;
    browser.until(&format!("{READY} && {ROWS}.length === {}", states[2].len())).await;
    assert_eq!(segments(&browser).await, states[2]);
    browser.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn memory_that_runs_out_in_the_middle_of_the_workers_work_is_said_and_nothing_is_lost() {
    // The page holds this recording's bytes, and the worker takes them; what it makes of them has no room.
    let page = built_for(LITTLE);
    let browser = opened_as(Setup { page: Some(page.path().to_owned()), ..Setup::default() }).await;
    let folder = tempfile::tempdir().expect("a temporary folder");
    let long = folder.path().join("a quiet watch.wav");
    silence(&long, 12 * 60 * 32_000);
    for _ in 0..2 {
        delete_one(&browser).await;
        browser.until(&format!("{READY} && {KEPT}")).await;
        let (edited, names) = (segments(&browser).await, lines(&browser).await);
        choose(&browser, &[&long]).await;
        for words in
            ["a quiet watch.wav could not be read", "the worker failed", "memory runs out", "shorter ones"]
        {
            error_says(&browser, words).await;
        }
        dismiss(&browser).await;
        browser.until(READY).await;
        assert_eq!(lines(&browser).await, names, "the lines are as they were");
        assert_eq!(segments(&browser).await, edited, "the open line is as it was");
    }
    // The worker that was started instead works.
    still_works(browser).await;
}

/// Renames the project over and over, numbered, and counts the time that page and storage had meanwhile: a step of
/// `own` is a twentieth of a second of the page's and a transaction of the browser's storage, so that on a machine
/// that does something else a step takes as long as both are held up. `done` says at which step each name was given.
fn series(name: &str) -> String {
    format!(
        "(() => {{
            window.own = 0; window.done = [];
            const asked = indexedDB.open('beside');
            asked.onupgradeneeded = () => asked.result.createObjectStore('steps');
            asked.onsuccess = () => {{
              const step = () => {{
                const write = asked.result.transaction('steps', 'readwrite');
                write.objectStore('steps').put(window.own, 0);
                write.oncomplete = () => {{ window.own += 1; setTimeout(step, 50); }};
              }};
              step();
            }};
            const field = document.querySelector('[data-testid=project-name]');
            setInterval(() => {{
              field.value = '{name}' + (window.done.length + 1);
              field.dispatchEvent(new Event('change', {{ bubbles: true }}));
              window.done.push(window.own);
            }}, 70);
            return true; }})()"
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn of_edits_without_a_pause_a_killed_tab_loses_those_of_the_last_second_at_most() {
    /// Steps in a second.
    const SECOND: u64 = 20;
    let mut browser = opened().await;
    for round in 0..4 {
        browser.click("[data-testid=project]").await;
        browser.find("[data-testid=project-name]").await;
        let title = format!("Tide table {round}.");
        browser.eval(&series(&title)).await;
        browser.until(&format!("window.own > {}", 2 * SECOND + 3 * round)).await;
        let log = browser.eval("[window.own, window.done]").await;
        browser.kill_tabs();
        let now = log[0].as_u64().expect("a count");
        let done = log[1].as_array().expect("a list");
        let old = done.iter().filter(|at| at.as_u64().is_some_and(|at| at + SECOND <= now)).count();
        assert!(old > 0, "round {round}: edits are older than a second: {log}");
        browser.kill_and_open_again().await;
        settled(&browser).await;
        browser.click("[data-testid=project]").await;
        let name = browser.eval("document.querySelector('[data-testid=project-name]').value").await;
        let name = name.as_str().expect("a name");
        let number = name.strip_prefix(&title).and_then(|n| n.parse::<usize>().ok());
        assert!(
            number >= Some(old),
            "round {round}: '{name}' is left, and {old} edits were older than a second"
        );
        browser.click("[data-testid=dialog-close]").await;
    }
    browser.close().await;
}
