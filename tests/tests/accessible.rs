//! Every view and dialog, dark and light, judged by axe-core: no serious or critical finding.
//!
//! The judge is the npm package axe-core (WCAG 2.0 to 2.2, levels A and AA, and its best practices),
//! fetched by `tests/setup/axe.sh`.

use lipwright_tests::browser::Browser;
use lipwright_tests::cache;
use serde_json::Value;

const READY: &str = "document.body.dataset.status === 'ready'";

fn judge() -> String {
    let folder = cache().join("axe");
    let found = std::fs::read_dir(&folder)
        .ok()
        .and_then(|entries| {
            entries.filter_map(|e| Some(e.ok()?.path())).find(|p| p.extension().is_some_and(|e| e == "js"))
        })
        .unwrap_or_else(|| panic!("axe-core is missing in {}; run `make test-tools`", folder.display()));
    std::fs::read_to_string(found).expect("a script")
}

/// What the judge finds on the page as it stands: serious and critical things, in words.
async fn findings(browser: &Browser, place: &str) -> Vec<String> {
    browser
        .eval(
            "(window.found = null, axe.run(document, { resultTypes: ['violations'] })
                .then(r => window.found = r.violations.map(v => [v.impact, v.id, v.help,
                    v.nodes.slice(0, 6).map(n => n.target.join(' ') + ': ' + (n.any[0] ?? n.all[0] ?? n.none[0] ?? {}).message).join(' | ')])), true)",
        )
        .await;
    browser.until("window.found !== null").await;
    let found = browser.eval("window.found").await;
    let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
    let rows = found.as_array().expect("a list");
    let grave = rows.iter().filter(|r| ["serious", "critical"].contains(&text(&r[0]).as_str()));
    grave
        .map(|r| format!("{place}: {} {}: {}\n    {}", text(&r[0]), text(&r[1]), text(&r[2]), text(&r[3])))
        .collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn every_view_and_dialog_in_both_themes() {
    let browser = Browser::open().await;
    browser.client.execute(&judge(), vec![]).await.expect("the judge starts");
    browser
        .until(&format!(
            "{READY} && document.querySelectorAll('[data-testid=segments] [role=option]').length > 1"
        ))
        .await;
    // The judge must be able to find something.
    browser
        .eval("(document.body.insertAdjacentHTML('beforeend', '<button id=planted></button>'), true)")
        .await;
    let planted = findings(&browser, "planted").await;
    assert!(planted.iter().any(|f| f.contains("button-name")), "{planted:?}");
    browser.eval("(document.getElementById('planted').remove(), true)").await;

    let mut all = Vec::new();
    for _ in 0..2 {
        let theme = browser.eval("document.documentElement.dataset.theme").await;
        for view in ["rig", "bench", "line"] {
            browser.click(&format!("[data-testid=view-{view}]")).await;
            browser.until(&format!("document.body.dataset.view === '{view}'")).await;
            all.extend(findings(&browser, &format!("{view}, {theme}")).await);
            if view == "rig" {
                browser.click("[data-testid=add-servo]").await;
                browser.find("dialog[open]").await;
                all.extend(findings(&browser, &format!("add a servo, {theme}")).await);
                browser.click("[data-testid=dialog-close]").await;
                browser.until("!document.querySelector('dialog[open]')").await;
            }
            let pages = browser
                .eval("document.querySelectorAll('.pages [role=tab]').length")
                .await
                .as_u64()
                .unwrap_or(0);
            for page in 1..=pages {
                browser.click(&format!(".pages [role=tab]:nth-of-type({page})")).await;
                all.extend(findings(&browser, &format!("{view} page {page}, {theme}")).await);
            }
        }
        for dialog in ["project", "record", "export", "script", "help"] {
            browser.click(&format!("[data-testid={dialog}]")).await;
            browser.find("dialog[open]").await;
            all.extend(findings(&browser, &format!("{dialog}, {theme}")).await);
            browser.click("[data-testid=dialog-close]").await;
            browser.until("!document.querySelector('dialog[open]')").await;
        }
        // A turn of the head with its settings open.
        browser.click("[data-testid=add-turn]").await;
        browser.find("[data-testid=event-settings]").await;
        all.extend(findings(&browser, &format!("event, {theme}")).await);
        browser.click("[data-testid=event-delete]").await;
        browser.until("!document.querySelector('[data-testid=event-settings]')").await;
        browser.click("[data-testid=theme]").await;
        browser.until(&format!("document.documentElement.dataset.theme !== {theme}")).await;
    }
    browser.click("[data-testid=tour-start]").await;
    browser.find("[data-testid=tour]").await;
    all.extend(findings(&browser, "tour").await);
    // Last: the page goes on no more once its program has stopped.
    browser
        .eval(
            "(window.dispatchEvent(new ErrorEvent('error',
                { error: new WebAssembly.RuntimeError('unreachable') })), true)",
        )
        .await;
    browser.find("[data-testid=stopped][open]").await;
    for theme in ["dark", "light"] {
        browser.eval(&format!("(document.documentElement.dataset.theme = '{theme}', true)")).await;
        all.extend(findings(&browser, &format!("stopped, {theme}")).await);
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
    browser.close().await;
}
