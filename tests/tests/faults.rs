//! What goes wrong outside the page: storage that refuses, a worker that dies, names that are markup.
//! Nothing is lost, and the words say what to do.
//!
//! Faults are put in by replacing what the browser offers; everything else goes through the page.

use fantoccini::key::Key;
use lipwright_core::line::Line;
use lipwright_core::project::{AudioRef, Project, ProjectLine};
use lipwright_core::units::Seconds;
use lipwright_tests::browser::Browser;
use lipwright_tests::sample_lines;

const READY: &str = "document.body.dataset.status === 'ready'";
const ROWS: &str = "[...document.querySelectorAll('[data-testid=segments] [role=option]')]";

async fn opened() -> Browser {
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.until(&format!("{ROWS}.length > 1")).await;
    browser
}

async fn error_says(browser: &Browser, words: &str) {
    let words = serde_json::to_string(words).expect("text");
    browser
        .until(&format!(
            "(document.querySelector('[data-testid=error]')?.textContent ?? '').includes({words})"
        ))
        .await;
}

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
