// The truth page: its picture is drawn, nothing else moves.

import { draw } from "./charts.js";

await draw();
document.documentElement.dataset.ready = "1";
