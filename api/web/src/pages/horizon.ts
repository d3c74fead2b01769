// The weeks ahead: have them planned anew, watch, and look at the hours that are left.
import { renew } from "../renewed.ts";
import * as run from "../week/run.ts";
import { spoken } from "../spoken.ts";

document.documentElement.classList.add("scripted");
// In place: the run of the night may end while somebody works on this page.
run.listen(
  () => renew(["hours", "weeks-ahead"]),
  () => "/horizon/runs",
  (head, cost) => spoken("{head}: the weeks ahead have a new plan, {cost}.", { head, cost }),
);
