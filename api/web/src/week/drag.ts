// Dragging by mouse, pen or finger: listeners on the board alone, one look at the page a frame.
import { make } from "../common.ts";
import * as hand from "./hand.ts";
import * as sheet from "./sheet.ts";

const FAR_PX = 6;
const EDGE_PX = 56;

interface Drag {
  id: number;
  visit: HTMLElement;
  x: number;
  y: number;
  begun: boolean;
}

let drag: Drag | null = null;
let frame = 0;
let swallow = false;
const ghost = make("div", { class: "ghost", "aria-hidden": "true" });

/** Listen on the board: a visit is dragged by its grip, with a mouse by any place on it. */
export function listen(): void {
  document.addEventListener("pointerdown", down);
  document.addEventListener("dragstart", (event) => {
    if (event.target instanceof Element && event.target.closest("#board .visit")) event.preventDefault();
  });
  // The click that ends a drag opens no job.
  document.addEventListener("click", (event) => {
    if (!swallow) return;
    swallow = false;
    event.preventDefault();
    event.stopPropagation();
  }, true);
}

function down(event: PointerEvent): void {
  swallow = false;
  if (!(event.target instanceof Element) || event.button !== 0 || drag !== null || hand.inHand()) return;
  const grip = event.target.closest("#board .grip");
  const visit = event.target.closest<HTMLElement>("#board .visit");
  if (visit === null || (grip === null && event.pointerType !== "mouse")) return;
  drag = { id: event.pointerId, visit, x: event.clientX, y: event.clientY, begun: false };
  document.addEventListener("pointermove", move);
  document.addEventListener("pointerup", up);
  document.addEventListener("pointercancel", cancel);
  document.addEventListener("keydown", key, true);
}

function move(event: PointerEvent): void {
  if (drag === null || event.pointerId !== drag.id) return;
  if (!drag.begun) {
    if (Math.hypot(event.clientX - drag.x, event.clientY - drag.y) < FAR_PX) return;
    drag.begun = true;
    hand.pick(drag.visit, false);
    hand.byDrag(true);
    ghost.textContent = sheet.nameOf(drag.visit);
    document.body.append(ghost);
    document.body.classList.add("dragging");
    getSelection()?.removeAllRanges();
  }
  drag.x = event.clientX;
  drag.y = event.clientY;
  if (frame === 0) frame = requestAnimationFrame(look);
}

/** Once a frame: carry the ghost along, see what lies below it, and roll the page at its edges. */
function look(): void {
  frame = 0;
  if (drag === null || !drag.begun) return;
  const { x, y } = drag;
  ghost.style.transform = `translate(${x + 14}px, ${y + 10}px)`;
  const roll = y < EDGE_PX ? y - EDGE_PX : y > innerHeight - EDGE_PX ? y - innerHeight + EDGE_PX : 0;
  if (roll !== 0) {
    scrollBy(0, roll / 3);
    frame = requestAnimationFrame(look);
  }
  const below = document.elementFromPoint(x, y);
  const day = below?.closest<HTMLElement>("#board td[data-crew]") ?? null;
  if (day !== null) {
    hand.aim({ crew: day.dataset.crew ?? "", day: Number(day.dataset.day), position: sheet.positionAt(day, y, drag.visit) });
  } else if (below !== null && below.closest("#pile") !== null) hand.aim("pile");
  if (roll !== 0) hand.drawLine();
}

function up(event: PointerEvent): void {
  if (drag === null || event.pointerId !== drag.id) return;
  const begun = drag.begun;
  if (begun) look();
  end();
  if (!begun) return;
  swallow = true;
  setTimeout(() => { swallow = false; }, 0);
  hand.byDrag(true);
  void hand.put().finally(() => hand.byDrag(false));
}

function cancel(): void {
  const begun = drag?.begun ?? false;
  end();
  if (begun) hand.letGo(false);
}

function key(event: KeyboardEvent): void {
  if (event.key !== "Escape" || drag === null) return;
  event.preventDefault();
  event.stopPropagation();
  cancel();
}

function end(): void {
  cancelAnimationFrame(frame);
  frame = 0;
  drag = null;
  hand.byDrag(false);
  ghost.remove();
  document.body.classList.remove("dragging");
  document.removeEventListener("pointermove", move);
  document.removeEventListener("pointerup", up);
  document.removeEventListener("pointercancel", cancel);
  document.removeEventListener("keydown", key, true);
}
