// What goes on the van, ticked by item, and leaving the yard with it.
import { all, one } from "../common.ts";
import { spoken } from "../spoken.ts";
import { dropDraft } from "./drafts.ts";
import type { Noting } from "./photo.ts";
import { goTo } from "./rail.ts";
import { notes } from "./store.ts";
import { speak } from "./told.ts";
import { notLoaded, tickName } from "./view.ts";

/** Have items ticked and the van leave; `first` gives the first stop, to go on to. */
/** What is being ticked by one tap: whoever leaves at once is asked only about what is left after it. */
let ticking: Promise<void> = Promise.resolve();

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

async function goOut(page: string, note: Noting, first: () => string | undefined): Promise<void> {
  await ticking;
  const lacking = notLoaded();
  const by = one<HTMLInputElement>("#overruled-by");
  const why = one<HTMLInputElement>("#overruled-why");
  const refused = (await notes.all()).filter((one) => one.path === `${page}/out` && one.refusal !== undefined);
  const asks = lacking.length > 0 || refused.length > 0;
  one("#overrule").hidden = !asks;
  const words = one("#not-loaded");
  words.textContent = lacking.length > 0 ? `▲ ${spoken("Not on the van: {what}. Load it, or say who lets the van leave without it, and why.", { what: lacking.join(", ") })}` : "";
  const [name, reason] = [by.value.trim(), why.value.trim()];
  if (asks && (name === "" || reason === "") && !(lacking.length === 0 && name === reason)) {
    speak(spoken("Not everything is on the van."));
    (name === "" ? by : why).focus();
    return;
  }
  for (const old of refused) await notes.remove(old.n); // this one stands in its place
  const body = { overruled_by: asks ? name : "", overruled_why: asks ? reason : "" };
  if (await note(`${page}/out`, "route", name === "" || !asks ? spoken("route out") : `${spoken("route out")}, ${name}: ${reason}`, body)) {
    dropDraft(by);
    dropDraft(why);
    const visit = first();
    if (visit !== undefined) goTo(`stop-${visit}`);
  }
}
