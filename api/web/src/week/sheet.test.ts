import assert from "node:assert/strict";
import { test } from "node:test";
import { one } from "../common.ts";
import { fakePage } from "../fake_page.ts";
import { refresh, standIn } from "./sheet.ts";

function page(plan: number, answer: string): string {
  return `<p data-part="answer">${answer}</p><section id="compared" hidden></section><div id="board" data-week="2027-04-12" data-plan="${plan}"></div>`;
}

/** Put up the sheet of plan 1, ask for it anew, and have a comparison opened before the answer comes: the sheet of `plan`. */
async function comparedMeanwhile(plan: number): Promise<void> {
  const window = fakePage(page(1, "proven"));
  for (const name of ["DOMParser", "location"] as const) {
    Object.defineProperty(globalThis, name, { value: window[name], configurable: true });
  }
  globalThis.fetch = async () => {
    one("#compared").hidden = false;
    return new Response(page(plan, "older facts"));
  };
  await refresh();
}

test("a comparison opened while the same plan's sheet is fetched stays open, and the answer is the newest", async () => {
  await comparedMeanwhile(1);
  assert.equal(one("#compared").hidden, false);
  assert.equal(one("[data-part=answer]").textContent, "older facts");
});

test("a comparison of a plan that is no longer the one shown is closed", async () => {
  await comparedMeanwhile(2);
  assert.equal(one("#compared").hidden, true);
  assert.equal(one("#board").dataset.plan, "2");
});

test("a visit that is put down is shown there at once, keeps the focus, and goes back where it is refused", () => {
  const visits = (...ids: string[]): string => ids.map((id) => `<li class="visit" data-visit="${id}"><button class="grip"></button></li>`).join("");
  const day = (n: number, ...ids: string[]): string => `<tr><td data-crew="veldt" data-day="${n}"><ol class="day">${visits(...ids)}</ol></td></tr>`;
  fakePage(`<div id="board"><table>${day(0, "A", "B", "C")}${day(1, "D", "E")}</table><div id="pile"><ul>${visits("F")}</ul></div></div>`);
  const order = (): string[] => [...document.querySelectorAll("ol, #pile ul")].map((list) => [...list.querySelectorAll<HTMLElement>(".visit")].map((v) => v.dataset.visit).join(""));
  const visit = one('[data-visit="B"]');
  one(".grip", visit).focus();
  for (const [aim, there] of [
    [{ crew: "veldt", day: 1, position: 1 }, ["AC", "DBE", "F"]],
    [{ crew: "veldt", day: 0, position: 2 }, ["ACB", "DE", "F"]],
    ["pile", ["AC", "DE", "BF"]],
  ] as const) {
    const back = standIn(visit, aim);
    assert.deepEqual(order(), there);
    assert.ok(visit.classList.contains("putting"));
    assert.equal(document.activeElement, one(".grip", visit));
    back();
    assert.deepEqual(order(), ["ABC", "DE", "F"]);
    assert.ok(!visit.classList.contains("putting"));
    assert.equal(document.activeElement, one(".grip", visit));
  }
});
