//! Serves the built page on a local port, as any static host would.

use crate::workspace;
use std::io::Write;
use std::path::{Component, Path, PathBuf};
use std::sync::{Arc, Mutex};

/// A static file server over `dist/` that stops when dropped.
pub struct PageServer {
    server: Arc<tiny_http::Server>,
    root: Arc<Mutex<PathBuf>>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl PageServer {
    /// Serves the page that `make page` built.
    ///
    /// # Panics
    /// Where the page is not built, or no local port can be had.
    #[must_use]
    pub fn start() -> Self {
        let root = workspace().join("dist");
        assert!(root.join("index.html").exists(), "the page is not built; run `make page`");
        let server = Arc::new(tiny_http::Server::http("127.0.0.1:0").expect("a free local port"));
        let root = Arc::new(Mutex::new(root));
        let (serving, from) = (Arc::clone(&server), Arc::clone(&root));
        let thread = std::thread::spawn(move || {
            for request in serving.incoming_requests() {
                let root = from.lock().expect("a path").clone();
                let _ = respond(&root, request); // The browser may hang up; that is its affair.
            }
        });
        Self { server, root, thread: Some(thread) }
    }

    /// Serves another folder from now on.
    ///
    /// # Panics
    /// Never: nothing panics while it holds the path.
    pub fn show(&self, root: PathBuf) {
        *self.root.lock().expect("a path") = root;
    }

    /// The page's address.
    ///
    /// # Panics
    /// Never: the server listens on an IP address.
    #[must_use]
    pub fn url(&self) -> String {
        format!("http://{}/", self.server.server_addr().to_ip().expect("an IP address"))
    }
}

impl Drop for PageServer {
    fn drop(&mut self) {
        self.server.unblock();
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn respond(root: &Path, request: tiny_http::Request) -> std::io::Result<()> {
    let path = request.url().split(['?', '#']).next().unwrap_or("/").trim_start_matches('/');
    let relative: PathBuf =
        Path::new(path).components().filter(|c| matches!(c, Component::Normal(_))).collect();
    let mut file = root.join(relative);
    if file.is_dir() {
        file.push("index.html");
    }
    let Ok(bytes) = std::fs::read(&file) else {
        return answer(request, "404 Not Found", "text/plain", b"");
    };
    let kind = match file.extension().and_then(|e| e.to_str()) {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript",
        Some("wasm") => "application/wasm",
        Some("css") => "text/css",
        Some("json" | "webmanifest") => "application/json",
        Some("png") => "image/png",
        Some("svg") => "image/svg+xml",
        Some("wav") => "audio/wav",
        _ => "application/octet-stream",
    };
    answer(request, "200 OK", kind, &bytes)
}

/// Answers, and has the browser close the connection. The server (tiny_http 0.12) has a thread for each
/// connection, and of two that come in the same instant it may give one to a thread that has just woken for
/// the other: kept open, the other would keep that one waiting for ever. Its own answers cannot say so.
fn answer(request: tiny_http::Request, status: &str, kind: &str, bytes: &[u8]) -> std::io::Result<()> {
    let mut out = request.into_writer();
    write!(out, "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\n")?;
    write!(out, "Content-Length: {}\r\nConnection: close\r\n\r\n", bytes.len())?;
    out.write_all(bytes)?;
    out.flush()
}
