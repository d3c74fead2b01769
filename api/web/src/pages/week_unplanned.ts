// A week without a plan: plan it, watch, and look at the sheet.
import * as run from "../week/run.ts";

document.documentElement.classList.add("scripted");
run.listen(async () => location.reload());
