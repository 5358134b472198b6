//! The script's margin in the page: a name said as it is spelled there, a fault told before it is used, and
//! the language.

use lipwright_tests::browser::Browser;

const READY: &str = "document.body.dataset.status === 'ready'";
const TEXT: &str = "[data-testid=script-text]";

#[tokio::test(flavor = "multi_thread")]
async fn the_margin_of_a_script_is_checked_and_kept() {
    let browser = Browser::open().await;
    browser.until(READY).await;
    browser.until("document.querySelectorAll('[data-testid=segments] [role=option]').length > 1").await;
    browser.click("[data-testid=script]").await;
    let said = browser.value(TEXT).await;
    assert!(said.contains("Wimbry"), "{said}");

    // A phone that is none: the dialog stays and says where.
    browser.type_over(TEXT, &format!("Wimbry = W IX1 M\n{said}")).await;
    browser.click("[data-testid=align]").await;
    browser.until("document.querySelector('[data-testid=script-problem]').textContent.includes('IX1')").await;
    let problem = browser.text("[data-testid=script-problem]").await;
    assert!(problem.contains("line 1 of the script, how “Wimbry” is said"), "{problem}");

    // A language is a line of the margin, too.
    let choice = browser.find("[data-testid=script-language]").await;
    choice.select_by_value("Spanish").await.expect("a language is chosen");
    browser
        .until(&format!("document.querySelector('{TEXT}').value.startsWith('language = Spanish\\n')"))
        .await;
    choice.select_by_value("English").await.expect("a language is chosen");
    browser.until(&format!("!document.querySelector('{TEXT}').value.includes('language')")).await;

    // Put right, it is used and kept with the script.
    browser.type_over(TEXT, &format!("Wimbry = W IH1 M B R IY0\n{said}")).await;
    browser.click("[data-testid=align]").await;
    browser.until("!document.querySelector('[data-testid=script-dialog]')").await;
    browser.until(READY).await;
    browser.click("[data-testid=script]").await;
    assert!(browser.value(TEXT).await.starts_with("Wimbry = W IH1 M B R IY0"));
    browser.close().await;
}
