// Starts the page's program. Kept out of index.html so that no inline script is needed.
import init from "./lipwright-app.js";
import { keepOffline } from "./offline.js";

// A program that fell over in the middle of something (out of memory, or a fault of its own) is not to be
// trusted with another step: the page says so, takes no more input, and offers the way back.
function stopped(error) {
  if (!(error instanceof WebAssembly.RuntimeError) || document.body.dataset.stopped) return;
  document.body.dataset.stopped = "yes";
  const kept = document.body.dataset.kept === "yes";
  const words = document.createElement("p");
  words.textContent =
    "Lipwright stopped in the middle of something (" + error.message + "); perhaps memory ran out. " +
    (kept ? "All you did is kept in this browser. " : "What was kept in this browser before is untouched. ") +
    "Cut the power of a connected head's servos before you reach in. Then load the page again to go on.";
  const again = document.createElement("button");
  again.dataset.testid = "reload";
  again.textContent = "Load the page again";
  again.addEventListener("click", () => location.reload());
  const place = document.createElement("dialog");
  place.className = "stopped";
  place.dataset.testid = "stopped";
  place.setAttribute("role", "alertdialog");
  place.setAttribute("aria-label", "Lipwright stopped");
  place.append(words, again);
  place.addEventListener("cancel", (event) => event.preventDefault());
  document.body.append(place);
  place.showModal();
}
window.addEventListener("error", (event) => stopped(event.error));
window.addEventListener("unhandledrejection", (event) => stopped(event.reason));

try {
  await init({ module_or_path: "./lipwright-app_bg.wasm" });
} catch (error) {
  document.body.dataset.status = "error";
  const place = document.querySelector(".boot");
  if (place) {
    place.textContent =
      "Lipwright could not start: " + error + ". A browser from 2023 or later is needed (WebAssembly, module workers).";
  }
}
keepOffline();
