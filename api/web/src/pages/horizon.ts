// The weeks ahead: have them planned anew, watch, and look at the hours that are left.
import * as run from "../week/run.ts";

document.documentElement.classList.add("scripted");
run.listen(async () => location.reload(), () => "/horizon/runs");
