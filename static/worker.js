// The worker runs the same program as the page; its main sees that there is no document.
import init from "./lipwright-app.js";

await init({ module_or_path: "./lipwright-app_bg.wasm" });
