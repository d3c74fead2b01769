// What goes on the van, ticked by item, and leaving the yard with it.
import { all, one } from "../common.ts";
import { spoken } from "../spoken.ts";
import { dropDraft } from "./drafts.ts";
import type { Noting } from "./photo.ts";
import type { Entry } from "./queue.ts";
import { goTo } from "./rail.ts";
import { notes } from "./store.ts";
import { speak } from "./told.ts";
import { notLoaded, tickName } from "./view.ts";

/** What is being ticked by one tap: whoever leaves at once is asked only about what is left after it. */
let ticking: Promise<void> = Promise.resolve();

/** Have items ticked and the van leave; `first` gives the first stop, to go on to. */
export function listenToVan(page: string, note: Noting, first: () => string | undefined): void {
  for (const kit of all("[data-kit-of]")) listenToKit(page, note, kit);
  for (const button of all("[data-all-on]")) {
    button.addEventListener("click", () => {
      ticking = everythingOn(page, note, button.closest(".panel") ?? document);
    });
  }
  document.querySelector("#out")?.addEventListener("click", () => void goOut(page, note, first));
}

function tick(page: string, note: Noting, visit: string, items: string[], on: boolean): Promise<boolean> {
  const what = items.length === 1 ? tickName(visit, items[0] ?? "") : spoken("{n} items", { n: items.length });
  const words = on ? spoken("{what} on the van", { what }) : spoken("{what} off the van", { what });
  return note(`${page}/ticks`, `load ${visit}`, `${visit}: ${words}`, { visit, items, on });
}

function unticked(place: ParentNode): string[] {
  return all<HTMLInputElement>("[data-item]", place).filter((box) => !box.checked).map((box) => box.dataset["item"] ?? "");
}

function listenToKit(page: string, note: Noting, kit: HTMLElement): void {
  const visit = kit.dataset["kitOf"] ?? "";
  for (const box of all<HTMLInputElement>("[data-item]", kit)) {
    box.addEventListener("change", () => void tick(page, note, visit, [box.dataset["item"] ?? ""], box.checked));
  }
  for (const button of all("[data-all]", kit)) {
    button.addEventListener("click", () => {
      const items = unticked(button.closest("fieldset") ?? kit);
      if (items.length > 0) void tick(page, note, visit, items, true);
    });
  }
}

async function everythingOn(page: string, note: Noting, load: ParentNode): Promise<void> {
  for (const kit of all("[data-kit-of]", load)) {
    const items = unticked(kit);
    if (items.length > 0) await tick(page, note, kit.dataset["kitOf"] ?? "", items, true);
  }
}

/** Wait for what is being ticked by one tap. */
export function allOn(): Promise<void> {
  return ticking;
}

async function goOut(page: string, note: Noting, first: () => string | undefined): Promise<void> {
  await ticking;
  await letGo(one("#going"), "1", (entry) => entry.path === `${page}/out`, async (by) => {
    const who = by.overruled_why === "" ? "" : `, ${by.overruled_by}: ${by.overruled_why}`;
    if (!(await note(`${page}/out`, "route", `${spoken("route out")}${who}`, { ...by }))) return false;
    const visit = first();
    if (visit !== undefined) goTo(`stop-${visit}`);
    return true;
  });
}

/**
 * Have a load leave the yard by `go`; where not all of it is on the van only once somebody has said by name, in the
 * fields of `place`, why it leaves without. `of` says which notes that were refused this one stands in for.
 */
export async function letGo(
  place: HTMLElement, load: string, of: (entry: Entry) => boolean,
  go: (by: { overruled_by: string; overruled_why: string }) => Promise<boolean>,
): Promise<void> {
  const lacking = notLoaded(load);
  const by = one<HTMLInputElement>("[data-overruled-by]", place);
  const why = one<HTMLInputElement>("[data-overruled-why]", place);
  const refused = (await notes.all()).filter((entry) => entry.refusal !== undefined && of(entry));
  const asks = lacking.length > 0 || refused.length > 0;
  one("[data-overrule]", place).hidden = !asks;
  const words = one("[data-not-loaded]", place);
  words.textContent = lacking.length > 0 ? `▲ ${spoken("Not on the van: {what}. Load it, or say who lets the van leave without it, and why.", { what: lacking.join(", ") })}` : "";
  const [name, reason] = [by.value.trim(), why.value.trim()];
  if (asks && (name === "" || reason === "") && !(lacking.length === 0 && name === reason)) {
    speak(spoken("Not everything is on the van."));
    (name === "" ? by : why).focus();
    return;
  }
  for (const old of refused) await notes.remove(old.n); // this one stands in its place
  if (await go({ overruled_by: asks ? name : "", overruled_why: asks ? reason : "" })) {
    dropDraft(by);
    dropDraft(why);
  }
}
