// The open sheet is told of changes: another's plan with the name, what falls, what is at risk, what the plan is older than.
import { worded } from "../words.ts";
import { one, say } from "../common.ts";
import * as sheet from "./sheet.ts";
import { filled, spoken } from "../spoken.ts";

/** How a week stands, as the service tells it. */
export interface Standing {
  plan: number | null;
  by: string;
  how: string;
  posted: number | null;
  falls: Record<string, string>;
  at_risk: number;
  older: string;
  answers: { text: number; customer: string; words: string; to: string }[];
}

const DID: Record<string, string> = {
  planned: spoken("{who} has planned the week."), moved: spoken("{who} has moved a visit."), repaired: spoken("{who} has repaired the week."),
  offered: spoken("{who} has given a customer another time."),
};

/** Say what is new on the sheet since `before`, as whoever is called `me` sees it; empty: nothing to say. */
export function newsWords(before: Standing, now: Standing, me: string): string {
  const words: string[] = [];
  if (now.plan !== before.plan && now.by !== me) words.push(filled(DID[now.how] ?? spoken("{who} has changed the plan."), { who: now.by }));
  const fallen = Object.entries(now.falls).filter(([visit]) => before.falls[visit] === undefined);
  for (const [visit, why] of fallen.slice(0, 2)) words.push(spoken("{visit} can't go as posted: {why}", { visit, why: worded(why) }));
  if (fallen.length > 2) words.push(spoken("{n} more can't go as posted.", { n: fallen.length - 2 }));
  const known = new Set(before.answers.map(({ text }) => text));
  for (const { text, customer, words: said, to } of now.answers) if (to === me && !known.has(text)) words.push(spoken("{customer} answered: “{said}”", { customer, said }));
  return words.join(" ");
}

/** Listen for as long as the page is open and its session lasts; `busy` says whether a visit is in somebody's hand. */
export function listen(busy: () => boolean): void {
  const place = document.querySelector<HTMLElement>("#live");
  if (place === null || !("EventSource" in window)) return;
  const older = one("#older", place);
  const news = one("#news", place);
  const me = place.dataset["me"] ?? "";
  const chosen = new URLSearchParams(location.search).has("plan"); // an older plan was asked for: it stays
  let last: Standing | undefined;
  let drawing: Promise<unknown> = Promise.resolve();
  const source = new EventSource(`/weeks/${sheet.weekStart()}/live`);
  source.addEventListener("standing", (event) => {
    const now = JSON.parse((event as MessageEvent<string>).data) as Standing;
    older.textContent = now.older === "" ? "" : `▲ ${now.older}`;
    const before = last;
    last = now;
    const behind = now.plan !== null && now.plan !== sheet.planId();
    if (before === undefined && !behind) return;
    const words = before === undefined ? "" : newsWords(before, now, me);
    if (words !== "") {
      news.textContent = words;
      say(words);
    }
    if (chosen) return;
    const whole = !busy() && one("#compared").hidden;
    drawing = drawing.then(() => sheet.refresh(whole ? undefined : "answer")).catch(() => undefined);
  });
  source.addEventListener("ended", () => source.close());
}
