// The week sheet: plan, move by hand, lock, compare, undo and post.
import { attempt, newKey, one, say, send } from "../common.ts";
import * as compare from "../week/compare.ts";
import * as drag from "../week/drag.ts";
import * as hand from "../week/hand.ts";
import * as live from "../week/live.ts";
import * as keys from "../week/keys.ts";
import * as look from "../week/look.ts";
import * as post from "../week/post.ts";
import * as run from "../week/run.ts";
import * as sheet from "../week/sheet.ts";
import { spoken, spokenFor } from "../spoken.ts";

sheet.remember();
document.documentElement.classList.add("scripted");
compare.listen();
document.addEventListener("click", (event) => {
  const figure = event.target instanceof Element ? event.target.closest<HTMLElement>("a[data-visits]") : null;
  if (figure === null) return;
  event.preventDefault();
  const ids = figure.dataset.visits?.split(" ") ?? [];
  sheet.point(ids);
  say(spokenFor("{n} visit is outlined.", "{n} visits are outlined.", ids.length));
});

/** Go back to the plan that this one was made of. */
async function undo(): Promise<void> {
  if (one<HTMLButtonElement>("#undo").disabled) return say(spoken("There is nothing to undo."));
  await attempt(async () => {
    await send("POST", `/plans/${sheet.planId()}/undo`, null, { key: newKey() });
    const drawn = await sheet.refresh();
    say(spoken("Undone: the sheet is as it was before."));
    if (drawn[0] !== undefined) hand.focusOn(drawn[0]);
  });
}

live.listen(() => sheet.board().classList.contains("planner") && hand.inHand());

if (sheet.board().classList.contains("planner")) {
  run.listen(sheet.refresh);
  post.listen();
  drag.listen();
  keys.listen(() => void undo());
  sheet.reachable();
  document.addEventListener("click", (event) => {
    if (!(event.target instanceof Element)) return;
    const at = event.target;
    if (at.id === "undo") void undo();
    else if (at.id === "slip-put") void hand.put();
    else if (at.id === "slip-drop") hand.letGo(true);
    else if (at.id === "slip-pile") {
      const visit = hand.spokenOf();
      if (visit === null) return;
      if (!hand.inHand()) hand.pick(visit, true);
      hand.aim("pile", true);
      one("#slip-put").focus();
    } else if (at.id === "slip-move") {
      const visit = hand.spokenOf();
      if (visit === null) return;
      hand.pick(visit, true);
      sheet.gripOf(visit)?.focus();
    } else if (at.id === "slip-lock") {
      const visit = hand.spokenOf();
      if (visit !== null) void attempt(() => hand.lock(visit));
    } else if (hand.inHand()) {
      // A visit in hand, and a day or the pile touched: hold it there.
      const day = at.closest<HTMLElement>("#board td[data-crew]");
      const pile = at.closest("#pile");
      if (day === null && pile === null) return;
      event.preventDefault();
      const visit = hand.spokenOf();
      hand.aim(day === null ? "pile" : { crew: day.dataset.crew ?? "", day: Number(day.dataset.day), position: sheet.positionAt(day, event.clientY, visit) }, true);
    } else {
      // A plain click, or Enter on its line, opens a visit beside the sheet; a key held opens its page as any link.
      const visit = at.closest<HTMLElement>("#board .visit");
      if (visit === null || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      hand.show(visit);
    }
  });
  one("#slip-hold").addEventListener("change", (event) => {
    const visit = hand.spokenOf();
    if (visit !== null) void hand.hold(visit, event.target as HTMLSelectElement);
  });
  addEventListener("scroll", () => hand.drawLine(), { passive: true });
} else {
  look.listen();
}
