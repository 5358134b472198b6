//! Starts the page, or its worker: one binary serves both, so that the browser downloads it once.

fn main() {
    lipwright_app::start();
}
