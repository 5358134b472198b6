// Has the program kept for days without a network, and goes over to a new build when the person says so.
const workers = navigator.serviceWorker;

function offer(registration) {
  const waiting = registration.waiting;
  // At the first visit there is nothing to replace.
  if (!waiting || !workers.controller) return;
  document.body.dataset.update = "ready";
  window.dispatchEvent(new Event("lipwright-update"));
  window.addEventListener("lipwright-go-over", () => waiting.postMessage("go over"), { once: true });
}

function watch(registration) {
  offer(registration);
  registration.addEventListener("updatefound", () => {
    const coming = registration.installing;
    coming?.addEventListener("statechange", () => offer(registration));
  });
}

export async function keepOffline() {
  // Only on secure pages; a plain http address in the house works with its server alone.
  if (!workers) return;
  let asked = false;
  window.addEventListener("lipwright-go-over", () => (asked = true));
  workers.addEventListener("controllerchange", () => asked && location.reload());
  try {
    const registration = await workers.register("./sw.js", { scope: "./" });
    watch(registration);
    await workers.ready;
    document.body.dataset.offline = "ready";
  } catch (error) {
    document.body.dataset.offline = "none";
    console.info("The page is not kept for use without a network: " + error);
  }
}
