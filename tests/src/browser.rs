//! A real browser: Chromium through its WebDriver, with real pointer and key events.

use crate::PageServer;
use fantoccini::actions::{
    InputSource, KeyAction, KeyActions, MOUSE_BUTTON_LEFT, MouseActions, PointerAction,
};
use fantoccini::elements::Element;
use fantoccini::key::Key;
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, PipeReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::{Duration, Instant};

/// How long a test waits for the page before it gives up. Generous: machines are shared, and
/// nothing here measures speed.
pub const PATIENCE: Duration = Duration::from_secs(180);

/// One browser at a time: two on two cores only make each other late.
static TURN: tokio::sync::Mutex<()> = tokio::sync::Mutex::const_new(());

/// How a browser differs from the usual one.
#[derive(Clone, Debug, Default)]
pub struct Setup {
    /// Further arguments of the command line.
    pub arguments: Vec<String>,
    /// True where pages may store nothing.
    pub no_storage: bool,
    /// The folder of another build of the page than `dist/`.
    pub page: Option<std::path::PathBuf>,
}

/// Chromium on the served page, with a fresh profile and a download folder of its own.
pub struct Browser {
    /// The WebDriver session.
    pub client: Client,
    downloads: tempfile::TempDir,
    driver: Child,
    profile: tempfile::TempDir,
    setup: Setup,
    url: String,
    server: Option<PageServer>,
    _turn: tokio::sync::MutexGuard<'static, ()>,
}

/// A command of the Chrome DevTools Protocol, which Chromium's driver hands on to the page.
#[derive(Debug)]
struct DevTools {
    command: String,
    parameters: Value,
}

impl WebDriverCompatibleCommand for DevTools {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &url::Url) -> (hyper::Method, Option<String>) {
        let body = json!({ "cmd": self.command, "params": self.parameters });
        (hyper::Method::POST, Some(body.to_string()))
    }
}

impl Browser {
    /// Starts Chromium and opens the page.
    ///
    /// # Panics
    /// Where the driver, the browser or the page cannot be had; the message says what to run.
    pub async fn open() -> Self {
        Self::open_as(Setup::default()).await
    }

    /// The same, set up otherwise.
    ///
    /// # Panics
    /// As [`Browser::open`].
    pub async fn open_as(setup: Setup) -> Self {
        let turn = TURN.lock().await;
        let server = PageServer::start();
        if let Some(page) = &setup.page {
            server.show(page.clone());
        }
        let profile = tempfile::tempdir().expect("a temporary folder");
        let downloads = tempfile::tempdir().expect("a temporary folder");
        let (driver, client) = start(&setup, profile.path(), downloads.path()).await;
        let (url, server, _turn) = (server.url(), Some(server), turn);
        let browser = Self { client, downloads, driver, profile, setup, url, server, _turn };
        browser.client.goto(&browser.url).await.expect("the page loads");
        browser
    }

    /// Kills the browser where it stands, as a power cut does, and starts it again on the same
    /// profile and page.
    ///
    /// # Panics
    /// As [`Browser::open`].
    pub async fn kill_and_open_again(&mut self) {
        self.end();
        // What a browser that was killed leaves behind, and the next one would wait for.
        for name in ["SingletonLock", "SingletonCookie", "SingletonSocket", "DevToolsActivePort"] {
            let _ = std::fs::remove_file(self.profile.path().join(name));
        }
        let started = start(&self.setup, self.profile.path(), self.downloads.path()).await;
        (self.driver, self.client) = started;
        self.client.goto(&self.url).await.expect("the page loads");
    }

    /// The page's address.
    #[must_use]
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Stops the server: from now on there is no network.
    pub fn cut_network(&mut self) {
        self.server = None;
    }

    /// Serves another build of the page.
    pub fn serve(&self, folder: std::path::PathBuf) {
        if let Some(server) = &self.server {
            server.show(folder);
        }
    }

    /// Memory of the browser's processes, bytes, by kind: what they have to themselves and their share of the
    /// rest (Linux's proportional set size). `renderer` shows pages, with script and WebAssembly memory,
    /// workers, canvases and all; `browser` is the one that began the others.
    #[must_use]
    pub fn memory(&self) -> BTreeMap<String, u64> {
        let mut kinds = BTreeMap::new();
        for id in crate::processes::below(self.driver.id()) {
            let Some(bytes) = crate::processes::memory(id) else { continue };
            let command = crate::processes::command_line(id);
            let word = |name: &str| {
                let (_, rest) = command.split_once(name)?;
                rest.split_whitespace().next().map(str::to_owned)
            };
            let kind = word("--utility-sub-type=").or_else(|| word("--type="));
            *kinds.entry(kind.unwrap_or_else(|| "browser".to_owned())).or_insert(0) += bytes;
        }
        kinds
    }

    /// Has the page and its workers give back at once what they no longer use, as browsers otherwise do when
    /// they like.
    ///
    /// # Panics
    /// Where the browser refuses.
    pub async fn collect_garbage(&self) {
        const COLLECT: &str = "HeapProfiler.collectGarbage";
        let targets = self.dev_tools("Target.getTargets", json!({ "filter": [{}] })).await;
        let targets = targets["targetInfos"].as_array().cloned().unwrap_or_default();
        for worker in targets.iter().filter(|t| t["type"] == "worker") {
            let asked = json!({ "targetId": worker["targetId"], "flatten": false });
            let session = self.dev_tools("Target.attachToTarget", asked).await["sessionId"].clone();
            let message = json!({ "id": 1, "method": COLLECT }).to_string();
            let send = json!({ "sessionId": session, "message": message });
            self.dev_tools("Target.sendMessageToTarget", send).await;
            self.dev_tools("Target.detachFromTarget", json!({ "sessionId": session })).await;
        }
        self.dev_tools(COLLECT, json!({})).await;
    }

    fn end(&mut self) {
        end(&mut self.driver, self.profile.path());
    }

    /// Kills the processes that show pages, as a system short of memory does: tabs are gone in the middle
    /// of whatever they did, and the browser itself goes on.
    ///
    /// # Panics
    /// Where there is none.
    pub fn kill_tabs(&self) {
        let killed = kill(self.profile.path(), |command| command.contains("--type=renderer"));
        assert!(killed > 0, "no process of this browser shows a page");
    }

    /// Ends the session and the driver.
    pub async fn close(mut self) {
        let _ = self.client.clone().close().await;
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }

    /// The element with this CSS selector.
    ///
    /// # Panics
    /// Where there is none within [`PATIENCE`].
    pub async fn find(&self, selector: &str) -> Element {
        self.client
            .wait()
            .at_most(PATIENCE)
            .for_element(Locator::Css(selector))
            .await
            .unwrap_or_else(|e| panic!("{selector}: {e}"))
    }

    /// Clicks the element with this selector, as a pointer does.
    ///
    /// # Panics
    /// Where there is none, or something covers it.
    pub async fn click(&self, selector: &str) {
        self.find(selector).await.click().await.unwrap_or_else(|e| panic!("click {selector}: {e}"));
    }

    /// Evaluates an expression in the page (for reading state only; input goes through events).
    ///
    /// # Panics
    /// Where it throws.
    pub async fn eval(&self, expression: &str) -> Value {
        let script = format!("return ({expression});");
        self.client.execute(&script, vec![]).await.unwrap_or_else(|e| panic!("{expression}: {e}"))
    }

    /// Gives the page a command of the Chrome DevTools Protocol, and returns its answer.
    ///
    /// # Panics
    /// Where the browser refuses it.
    pub async fn dev_tools(&self, command: &str, parameters: Value) -> Value {
        let asked = DevTools { command: command.to_owned(), parameters };
        self.client.issue_cmd(asked).await.unwrap_or_else(|e| panic!("{command}: {e}"))
    }

    /// Waits until an expression is true in the page.
    ///
    /// # Panics
    /// After [`PATIENCE`].
    pub async fn until(&self, expression: &str) {
        let start = Instant::now();
        loop {
            if self.eval(expression).await == Value::Bool(true) {
                return;
            }
            if start.elapsed() > PATIENCE {
                let status = self.eval("document.body.outerHTML.slice(0, 3000)").await;
                panic!("never became true: {expression}\n{status}");
            }
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Presses the left button at one point of the window, drags to another in steps, releases.
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn drag(&self, from: (f64, f64), to: (f64, f64)) {
        let moved =
            |x: f64, y: f64| PointerAction::MoveTo { duration: Some(Duration::from_millis(20)), x, y };
        let mut mouse = MouseActions::new("mouse".into())
            .then(moved(from.0, from.1))
            .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT });
        const STEPS: u32 = 8;
        for step in 1..=STEPS {
            let t = f64::from(step) / f64::from(STEPS);
            mouse = mouse.then(moved(from.0 + (to.0 - from.0) * t, from.1 + (to.1 - from.1) * t));
        }
        mouse = mouse.then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
        self.client.perform_actions(mouse).await.expect("the drag is performed");
    }

    /// The window position of an instant on the lane of mouth shapes, with the whole line in view.
    ///
    /// # Panics
    /// Where no line is heard.
    pub async fn place(&self, time: f64) -> (f64, f64) {
        self.click("[data-testid=fit]").await;
        let lane = self
            .eval(
                "(() => { const r = document.querySelector('[data-testid=lane-shapes]').getBoundingClientRect();
                          const rows = document.querySelectorAll('[data-testid=segments] [role=option]');
                          return [r.left, r.top, r.width, r.height, Number(rows[rows.length - 1].dataset.end)]; })()",
            )
            .await;
        let side = |i: usize| lane[i].as_f64().expect("a length");
        // The whole line takes 98 % of the lane: its end stays clear of the window's edge.
        (side(0) + side(2) * 0.98 * time / side(4), side(1) + side(3) / 2.0)
    }

    /// Clicks one point of the window.
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn click_at(&self, x: f64, y: f64) {
        self.drag((x, y), (x, y)).await;
    }

    /// Holds the left button down on an element for a while.
    ///
    /// # Panics
    /// Where the element is not there or the driver refuses.
    pub async fn press_for(&self, selector: &str, time: Duration) {
        self.eval(&format!(
            "(document.querySelector('{selector}').scrollIntoView({{ block: 'center' }}), true)"
        ))
        .await;
        let target = self.find(selector).await;
        let down = MouseActions::new("mouse".into())
            .then(PointerAction::MoveToElement { element: target, duration: None, x: 0.0, y: 0.0 })
            .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT });
        self.client.perform_actions(down).await.expect("the button goes down");
        tokio::time::sleep(time).await;
        let up = MouseActions::new("mouse".into()).then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
        self.client.perform_actions(up).await.expect("the button comes up");
    }

    /// Presses the left button at a point of the window, and holds it.
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn press(&self, x: f64, y: f64) {
        let mouse = MouseActions::new("mouse".into())
            .then(PointerAction::MoveTo { duration: None, x, y })
            .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT });
        self.client.perform_actions(mouse).await.expect("the button goes down");
    }

    /// Moves the pointer, with whatever is held.
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn move_to(&self, x: f64, y: f64) {
        let mouse = MouseActions::new("mouse".into()).then(PointerAction::MoveTo { duration: None, x, y });
        self.client.perform_actions(mouse).await.expect("the pointer moves");
    }

    /// Lets the left button go.
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn release(&self) {
        let mouse = MouseActions::new("mouse".into()).then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
        self.client.perform_actions(mouse).await.expect("the button comes up");
    }

    /// Drags what lies at a place six pixels to the left, past what would catch it (Alt) and with what
    /// follows (Shift).
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn drag_left_rippling(&self, x: f64, y: f64) {
        self.press(x, y).await;
        self.hold(Key::Alt.into()).await;
        self.hold(Key::Shift.into()).await;
        self.move_to(x - 3.0, y).await;
        self.move_to(x - 6.0, y).await;
        self.let_go(Key::Shift.into()).await;
        self.let_go(Key::Alt.into()).await;
        self.release().await;
    }

    /// Presses a key and holds it, until [`Browser::let_go`].
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn hold(&self, key: char) {
        let keys = KeyActions::new("keys".into()).then(KeyAction::Down { value: key });
        self.client.perform_actions(keys).await.expect("the key goes down");
    }

    /// Lets a key go.
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn let_go(&self, key: char) {
        let keys = KeyActions::new("keys".into()).then(KeyAction::Up { value: key });
        self.client.perform_actions(keys).await.expect("the key comes up");
    }

    /// From now on, `window.seenTimes` holds the least and the greatest time that the page shows, and how
    /// often it went back.
    ///
    /// # Panics
    /// Where the page has no time.
    pub async fn watch_time(&self) {
        self.eval(
            "(() => { const shown = document.querySelector('[data-testid=time]');
                const seen = window.seenTimes = { least: 1e9, most: -1e9, rounds: 0, last: 0 };
                new MutationObserver(() => { const t = parseFloat(shown.textContent);
                  if (t < seen.last - 0.05) seen.rounds += 1;
                  seen.last = t; seen.least = Math.min(seen.least, t); seen.most = Math.max(seen.most, t);
                }).observe(shown, { subtree: true, childList: true, characterData: true });
                return true; })()",
        )
        .await;
    }

    /// Presses and releases one key, with modifiers held.
    ///
    /// # Panics
    /// Where the driver refuses.
    pub async fn key(&self, modifiers: &[char], key: char) {
        let mut keys = KeyActions::new("keys".into());
        for value in modifiers {
            keys = keys.then(KeyAction::Down { value: *value });
        }
        keys = keys.then(KeyAction::Down { value: key }).then(KeyAction::Up { value: key });
        for value in modifiers.iter().rev() {
            keys = keys.then(KeyAction::Up { value: *value });
        }
        self.client.perform_actions(keys).await.expect("the key is pressed");
    }

    /// Writes over what stands in a field, with the keyboard, and goes on to the next.
    ///
    /// # Panics
    /// Where there is no such field, or it takes no keys.
    pub async fn type_over(&self, selector: &str, text: &str) {
        self.click(selector).await;
        self.key(&[Key::Control.into()], 'a').await;
        let keys = format!("{text}{}", char::from(Key::Tab));
        self.find(selector).await.send_keys(&keys).await.unwrap_or_else(|e| panic!("{selector}: {e}"));
    }

    /// What a field holds.
    ///
    /// # Panics
    /// Where there is no such field.
    pub async fn value(&self, selector: &str) -> String {
        let field = self.find(selector).await;
        field.prop("value").await.expect("a value").unwrap_or_default()
    }

    /// What an element says.
    ///
    /// # Panics
    /// Where there is none.
    pub async fn text(&self, selector: &str) -> String {
        self.find(selector).await.text().await.unwrap_or_else(|e| panic!("{selector}: {e}"))
    }

    /// Waits for a finished download whose name ends so, and returns its path.
    ///
    /// # Panics
    /// After [`PATIENCE`].
    pub async fn downloaded(&self, ending: &str) -> std::path::PathBuf {
        let start = Instant::now();
        loop {
            let files: Vec<_> = std::fs::read_dir(self.downloads.path())
                .expect("the folder exists")
                .filter_map(|e| Some(e.ok()?.path()))
                .collect();
            // The browser first reserves the name with an empty file and writes beside it, then puts
            // the one in the place of the other: an empty file is a download that has only begun.
            let named = |path: &&std::path::PathBuf, end: &str| path.to_string_lossy().ends_with(end);
            let found = files.iter().find(|p| named(p, ending));
            let written = |path: &std::path::Path| path.metadata().is_ok_and(|m| m.len() > 0);
            if let Some(path) = found.filter(|p| written(p))
                && !files.iter().any(|p| named(&p, ".crdownload"))
            {
                return path.clone();
            }
            assert!(start.elapsed() < PATIENCE, "nothing ending in {ending} was downloaded");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Saves a picture of the window.
    ///
    /// # Panics
    /// Where it cannot be taken or written.
    pub async fn screenshot(&self, path: &Path) {
        let png = self.client.screenshot().await.expect("a screenshot");
        std::fs::write(path, png).expect("the picture is written");
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // A failed test still must not leave a driver or its browser behind.
        self.end();
    }
}

async fn start(setup: &Setup, profile: &Path, downloads: &Path) -> (Child, Client) {
    let mut arguments = [
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-dev-shm-usage",
        "--autoplay-policy=no-user-gesture-required",
        // The system's own dialogs cannot be driven from here; the page does without, as it must in
        // browsers that do not offer them.
        "--disable-blink-features=FileSystemAccessLocal",
        "--window-size=1280,860",
    ]
    .map(str::to_owned)
    .to_vec();
    arguments.push(format!("--user-data-dir={}", profile.display()));
    arguments.extend(setup.arguments.iter().cloned());
    let mut prefs = json!({
        "download.default_directory": downloads,
        "download.prompt_for_download": false,
    });
    if setup.no_storage {
        prefs["profile.default_content_setting_values.cookies"] = 2.into();
    }
    let mut capabilities = serde_json::Map::new();
    let options = json!({ "args": arguments, "binary": "/usr/bin/chromium", "prefs": prefs });
    capabilities.insert("goog:chromeOptions".into(), options);
    capabilities.insert("goog:loggingPrefs".into(), json!({ "browser": "ALL" }));
    let (mut driver, port) = start_driver();
    let mut builder = ClientBuilder::new(HttpConnector::new());
    let address = format!("http://127.0.0.1:{port}");
    let connecting = builder.capabilities(capabilities).connect(&address);
    let why = match tokio::time::timeout(PATIENCE, connecting).await {
        Ok(Ok(client)) => return (driver, client),
        Ok(Err(e)) => e.to_string(),
        Err(_) => format!("no answer from chromedriver at {address} within {PATIENCE:?}"),
    };
    end(&mut driver, profile);
    panic!("Chromium does not start: {why}");
}

/// Starts Chromium's driver; with it the port on which it listens.
///
/// Left to choose, it takes a port that is free over IPv6 and ends where that same port is taken over IPv4, as
/// every page server's and every browser's is: then it is started again.
fn start_driver() -> (Child, u16) {
    const STARTS: usize = 5;
    let (start, mut ends) = (Instant::now(), String::new());
    for _ in 0..STARTS {
        let (output, input) = std::io::pipe().expect("a pipe");
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(input.try_clone().expect("a pipe"))
            .stderr(input)
            .spawn()
            .expect("chromedriver is missing; run `make test-tools`");
        let said = match driver_port(output, PATIENCE.saturating_sub(start.elapsed())) {
            Ok(port) => return (driver, port),
            Err(said) => said,
        };
        let _ = driver.kill();
        let status = driver.wait().expect("a driver that was started ends");
        ends += &format!("after {:?}, {status}, having said:\n{said}", start.elapsed());
        if start.elapsed() > PATIENCE {
            break;
        }
    }
    panic!("chromedriver did not say its port\n{ends}");
}

/// Ends a driver and the browser on this profile.
fn end(driver: &mut Child, profile: &Path) {
    let _ = driver.kill();
    let _ = driver.wait();
    // Killing the driver alone orphans the browser.
    kill(profile, |_| true);
}

/// Kills those processes of a browser whose command line is one of these; how many there were. Its profile
/// folder tells the browser from anyone else's, and the others descend from it.
fn kill(profile: &Path, which: impl Fn(&str) -> bool) -> usize {
    let all = processes();
    let profile = profile.to_string_lossy().into_owned();
    let mut own: Vec<&Process> = all.iter().filter(|p| p.command.contains(&profile)).collect();
    let mut next = 0;
    while next < own.len() {
        let parent = own[next].id;
        let known: Vec<u32> = own.iter().map(|p| p.id).collect();
        own.extend(all.iter().filter(|p| p.parent == parent && !known.contains(&p.id)));
        next += 1;
    }
    own.retain(|p| which(&p.command));
    for process in &own {
        // One that ended meanwhile is as good as killed.
        let _ = Command::new("kill").args(["-9", &process.id.to_string()]).stderr(Stdio::null()).status();
    }
    own.len()
}

/// One process of the system.
struct Process {
    id: u32,
    parent: u32,
    command: String,
}

/// Every process there is now (Linux). One that ends meanwhile is left out.
fn processes() -> Vec<Process> {
    let read = |entry: std::io::Result<std::fs::DirEntry>| {
        let path = entry.ok()?.path();
        let id = path.file_name()?.to_str()?.parse().ok()?;
        let status = std::fs::read_to_string(path.join("status")).ok()?;
        let parent = status.lines().find_map(|l| l.strip_prefix("PPid:"))?.trim().parse().ok()?;
        let command = std::fs::read(path.join("cmdline")).ok()?;
        Some(Process { id, parent, command: String::from_utf8_lossy(&command).replace('\0', " ") })
    };
    std::fs::read_dir("/proc").into_iter().flatten().filter_map(read).collect()
}

/// The port that a driver says it listens on; or all that it said, where it ended or the time ran out.
fn driver_port(output: PipeReader, within: Duration) -> Result<u16, String> {
    let (send, receive) = mpsc::channel();
    // Read to its end, though nobody listens any more: a driver whose output is full waits for ever, and one
    // whose output is closed dies at its next word.
    std::thread::spawn(move || {
        for line in BufReader::new(output).split(b'\n').map_while(Result::ok) {
            let _ = send.send(String::from_utf8_lossy(&line).into_owned());
        }
    });
    let (start, mut said) = (Instant::now(), String::new());
    // It first says "on port 0", which it was asked for, and then the one that it got.
    while let Ok(line) = receive.recv_timeout(within.saturating_sub(start.elapsed())) {
        match line.rsplit("on port ").next().and_then(|p| p.trim_end_matches('.').parse().ok()) {
            None | Some(0) => said += &format!("{line}\n"),
            Some(port) => return Ok(port),
        }
    }
    Err(said)
}
