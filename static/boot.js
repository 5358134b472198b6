// Starts the page's program. Kept out of index.html so that no inline script is needed.
import init from "./lipwright-app.js";
import { keepOffline } from "./offline.js";

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
