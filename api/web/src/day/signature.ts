// The customer signs with a finger: lines of points in a field of 1000 by 400, neither the pace of the pen nor a place.
import { all, one } from "../common.ts";
import { spoken } from "../spoken.ts";
import { dropDraft } from "./drafts.ts";
import type { Noting } from "./photo.ts";
import type { DayState } from "./state.ts";

export type Strokes = [number, number][][];
export const WIDE = 1000;
export const HIGH = 400;
const NEAR = 4; // points nearer than this to the last one say nothing more
const MOST_POINTS = 6000;

/** Return the point of the field that lies under (x, y) of the window, held within it. */
export function placed(box: { left: number; top: number; width: number; height: number }, x: number, y: number): [number, number] {
  const part = (at: number, from: number, over: number, most: number): number =>
    Math.min(most, Math.max(0, Math.round(((at - from) / (over || 1)) * most)));
  return [part(x, box.left, box.width, WIDE), part(y, box.top, box.height, HIGH)];
}

/** Return the strokes with one point more at the end of the last; as they are where it is too near, or they are full. */
export function drawn(strokes: Strokes, point: [number, number]): Strokes {
  const last = strokes.at(-1) ?? [];
  const before = last.at(-1);
  if (before !== undefined && Math.hypot(point[0] - before[0], point[1] - before[1]) < NEAR) return strokes;
  if (strokes.reduce((sum, stroke) => sum + stroke.length, 0) >= MOST_POINTS) return strokes;
  return [...strokes.slice(0, -1), [...last, point]];
}

/** Return strokes as the path of an SVG; a dot is a line of no length, which round ends show. */
export function pathOf(strokes: Strokes): string {
  return strokes
    .filter((stroke) => stroke.length > 0)
    .map(([first, ...rest]) => `M${first?.join(" ")}L${(rest.length > 0 ? rest : [first]).map((point) => point?.join(" ")).join(" ")}`)
    .join("");
}

/** Have the customer of a stop sign, where it has a field for that. */
export function listenToPad(stop: HTMLElement, visit: string, page: string, note: Noting): void {
  const pad = stop.querySelector<SVGSVGElement>("[data-pad]");
  if (pad === null) return;
  const line = one<HTMLElement>("[data-line]", stop);
  const name = one<HTMLInputElement>("[data-signs]", stop);
  const fault = one("[data-pad-fault]", stop);
  const key = `draft ${location.pathname} ${visit} strokes`;
  let strokes: Strokes = [];
  let writing = false;
  const keep = (next: Strokes): void => {
    strokes = next;
    line.setAttribute("d", pathOf(strokes));
    try {
      if (strokes.length === 0) localStorage.removeItem(key);
      else localStorage.setItem(key, JSON.stringify(strokes));
    } catch {
      // No room: it stays on the page, and goes with it.
    }
  };
  try {
    keep(JSON.parse(localStorage.getItem(key) ?? "[]") as Strokes);
  } catch {
    keep([]);
  }
  pad.addEventListener("pointerdown", (event) => {
    event.preventDefault();
    writing = true;
    fault.textContent = "";
    pad.setPointerCapture(event.pointerId);
    keep(drawn([...strokes, []], placed(pad.getBoundingClientRect(), event.clientX, event.clientY)));
  });
  pad.addEventListener("pointermove", (event) => {
    if (!writing) return;
    const box = pad.getBoundingClientRect();
    // A quick hand is followed between two frames too, where the browser tells.
    const events = event.getCoalescedEvents?.() ?? [];
    const moves = events.length > 0 ? events : [event];
    keep(moves.reduce((so, move) => drawn(so, placed(box, move.clientX, move.clientY)), strokes));
  });
  for (const end of ["pointerup", "pointercancel"]) pad.addEventListener(end, () => (writing = false));
  one("[data-pad-clear]", stop).addEventListener("click", () => keep([]));
  one("[data-pad-keep]", stop).addEventListener("click", async () => {
    const who = name.value.trim() || name.placeholder;
    const points = strokes.reduce((sum, stroke) => sum + stroke.length, 0);
    fault.textContent = points < 2 ? `▲ ${spoken("Nothing is written yet.")}` : "";
    if (points < 2) return;
    const body = { visit, name: who, strokes, signed: true };
    if (await note(`${page}/signatures`, `visit ${visit}`, `${visit}: ${spoken("signed by {who}", { who })}`, body)) {
      keep([]);
      dropDraft(name);
    }
  });
  one("[data-pad-back]", stop).addEventListener("click", () => {
    void note(`${page}/signatures`, `visit ${visit}`, `${visit}: ${spoken("signature taken back")}`, { visit, signed: false });
  });
}

/** Show who has signed at each stop; what comes next there opens the field and closes it. */
export function showSigned(stop: HTMLElement, visit: string, state: DayState, waits: string): void {
  const part = stop.querySelector<HTMLDetailsElement>("[data-hand-over]");
  if (part === null) return;
  const signed = state.signatures?.[visit];
  one("[data-signed-by]", part).textContent = signed === undefined ? "" : `✓ ${signed.name}${waits}`;
  for (const open of all("[data-pad-open]", part)) open.hidden = signed !== undefined;
  for (const done of all("[data-pad-done]", part)) done.hidden = signed === undefined;
  const next = stop.dataset["next"] ?? "";
  if (part.dataset["at"] !== next) {
    part.dataset["at"] = next;
    part.open = next === "done" && signed === undefined;
  }
}
