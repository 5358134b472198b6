//! How the lanes are painted, and room for the list of problems, in a real browser.

use lipwright_tests::browser::Browser;

const READY: &str = "document.body.dataset.status === 'ready'
    && document.querySelectorAll('[data-testid=segments] [role=option]').length > 20";

/// Turns the wheel over the lane of shapes so many times, once a frame, then says that it is done.
const WHEEL: &str = "(() => {
  const lane = document.querySelector('[data-testid=lane-shapes]').parentElement, r = lane.getBoundingClientRect();
  window.stretched = 0; window.turned = false; let i = 0;
  const step = () => {
    window.stretched += document.querySelectorAll('.track canvas[style*=scale]').length;
    if (i === 60) { window.turned = true; return; }
    lane.dispatchEvent(new WheelEvent('wheel', { bubbles: true, cancelable: true, ctrlKey: true,
      deltaY: i < 45 ? -20 : 20, clientX: r.left + r.width * 0.4, clientY: r.top + 5 }));
    i += 1; requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
  return true;
})()";

/// What stands on every lane in sight, as the browser would save it.
const PICTURES: &str = "[...document.querySelectorAll('.track canvas')]
  .filter((c) => c.getBoundingClientRect().top < innerHeight).map((c) => c.dataset.testid + c.toDataURL())";

/// True where no lane in sight is stretched, ten times in a row. (Lanes out of sight are not painted.)
const AT_REST: &str = "(() => {
  window.quiet ??= 0;
  const stretched = [...document.querySelectorAll('.track canvas[style*=scale]')];
  if (stretched.some((c) => c.getBoundingClientRect().top < innerHeight)) { window.quiet = 0; return false; }
  window.quiet += 1; return window.quiet > 10;
})()";

async fn pictures(browser: &Browser) -> Vec<String> {
    browser.eval("((window.quiet = 0), true)").await;
    browser.until(AT_REST).await;
    let list = browser.eval(PICTURES).await;
    list.as_array().expect("a list").iter().map(|p| p.as_str().expect("a picture").to_owned()).collect()
}

/// However quickly the wheel turned, at rest every lane shows what it shows when there was no hurry.
#[tokio::test]
async fn lanes_are_crisp_at_rest() {
    let browser = Browser::open().await;
    browser.until(READY).await;
    // Painted anew once the fonts are there.
    browser.until("document.fonts.status === 'loaded'").await;
    browser.click("[data-testid=zoom-in]").await;
    browser.click("[data-testid=fit]").await;
    let calm = pictures(&browser).await;
    assert!(calm.len() > 4, "{} lanes", calm.len());
    browser.eval(WHEEL).await;
    browser.until("window.turned").await;
    let zoomed = pictures(&browser).await;
    assert!(zoomed.iter().zip(&calm).filter(|(a, b)| a != b).count() > 3, "the wheel zooms");
    browser.click("[data-testid=fit]").await;
    let again = pictures(&browser).await;
    let other: Vec<&str> = again
        .iter()
        .zip(&calm)
        .filter(|(a, b)| a != b)
        .map(|(a, _)| a.split("data:").next().unwrap_or(""))
        .collect();
    assert!(other.is_empty() && again.len() == calm.len(), "painted otherwise: {other:?}");
    browser.close().await;
}

#[tokio::test]
async fn the_problems_list_gets_room_and_keeps_it() {
    let browser = Browser::open().await;
    browser.until(READY).await;
    // Problems that are seen whole.
    let seen =
        "(() => { const list = document.querySelector('[data-testid=problems]').getBoundingClientRect();
        return [...document.querySelectorAll('[data-testid=problems] li')]
          .filter((e) => e.getBoundingClientRect().bottom <= list.bottom + 1).length; })()";
    let mouths = "document.querySelector('.palette').clientHeight";
    let high = "document.querySelector('[data-testid=problems]').clientHeight";
    let (before, low) = (browser.eval(seen).await, browser.eval(high).await);
    browser.click("[data-testid=room]").await;
    browser.until(&format!("{mouths} === 0 && {seen} >= {before} + 3 && {high} > {low}")).await;
    browser.eval("((window.before = true), location.reload(), true)").await;
    browser.until(&format!("window.before === undefined && {READY} && {mouths} === 0")).await;
    assert_eq!(browser.eval("document.querySelector('[data-testid=room]').ariaPressed").await, "true");
    // The key that goes to the little mouths brings them back.
    browser.key(&[], 'r').await;
    browser.until("document.activeElement.closest('.palette') !== null").await;
    browser.until(&format!("{mouths} > 40")).await;
    assert_eq!(browser.eval("document.querySelector('[data-testid=room]').ariaPressed").await, "false");
    browser.close().await;
}
