//! Takes the README's picture of the editor: `make screenshot`.

use lipwright_tests::browser::Browser;
use lipwright_tests::workspace;

#[tokio::main]
async fn main() {
    let browser = Browser::open().await;
    browser.until("document.body.dataset.status === 'ready'").await;
    browser.click("[data-testid=tour-never]").await;
    // A segment in the middle of the demo line, with the mouth well open.
    let open = browser
        .eval(
            "[...document.querySelectorAll('[data-testid=segments] [data-shape=open]')]
               .map(e => (Number(e.dataset.start) + Number(e.dataset.end)) / 2)
               .find(t => t > 1.5) ?? 1.5",
        )
        .await
        .as_f64()
        .expect("a time");
    let lane = browser
        .eval(
            "(() => { const r = document.querySelector('[data-testid=lane-shapes]').getBoundingClientRect();
                      const rows = document.querySelectorAll('[data-testid=segments] [role=option]');
                      return [r.left, r.top + r.height / 2, r.width * 0.98 / Number(rows[rows.length - 1].dataset.end)]; })()",
        )
        .await;
    let number = |i: usize| lane[i].as_f64().expect("a length");
    browser.click_at(number(0) + open * number(2), number(1)).await;
    browser.until("document.body.dataset.status === 'ready'").await;
    let path = workspace().join("static/screenshot.png");
    browser.screenshot(&path).await;
    browser.close().await;
    println!("{}", path.display());
}
