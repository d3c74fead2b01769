// The wall drawing nearer and farther: by buttons, by two fingers, and by + - 0 on the keyboard; one finger moves it.
import { all, one } from "../common.ts";
import { stepped } from "../zoom.ts";

const NEAREST = 6;

/** Return the scale when two fingers `apart` have moved from `was` apart, never below the whole. */
export function pinched(scale: number, was: number, apart: number): number {
  return was > 0 ? Math.min(NEAREST, Math.max(1, (scale * apart) / was)) : scale;
}

/** Make every drawing of the page zoom. */
export function drawings(): void {
  for (const box of all("[data-zoom]")) zoom(box);
}

function zoom(box: HTMLElement): void {
  const pane = one(".pane", box);
  const picture = one<HTMLImageElement>("img", pane);
  let scale = 1;

  // The point of the drawing under (x, y) of the pane stays there.
  const show = (next: number, x = pane.clientWidth / 2, y = pane.clientHeight / 2): void => {
    const ratio = next / scale;
    const left = (pane.scrollLeft + x) * ratio - x;
    const top = (pane.scrollTop + y) * ratio - y;
    scale = next;
    picture.style.width = `${Math.round(scale * 100)}%`;
    pane.scrollTo(left, top);
    pane.classList.toggle("near", scale > 1);
  };

  for (const button of all<HTMLButtonElement>("[data-zoom-step]", box)) {
    button.addEventListener("click", () => show(stepped(scale, Number(button.dataset["zoomStep"]) as -1 | 0 | 1)));
  }
  pane.addEventListener("keydown", (event) => {
    const step = { "+": 1, "=": 1, "-": -1, "0": 0 }[event.key] as -1 | 0 | 1 | undefined;
    if (step === undefined || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    show(stepped(scale, step));
  });

  let was = 0;
  let begun = 1;
  const apart = (touches: TouchList): number => {
    const [a, b] = [touches[0], touches[1]];
    return a === undefined || b === undefined ? 0 : Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
  };
  pane.addEventListener("touchstart", (event) => {
    if (event.touches.length === 2) [was, begun] = [apart(event.touches), scale];
  }, { passive: true });
  pane.addEventListener("touchmove", (event) => {
    const [a, b] = [event.touches[0], event.touches[1]];
    if (event.touches.length !== 2 || a === undefined || b === undefined) return;
    event.preventDefault(); // the page itself must not zoom too
    const frame = pane.getBoundingClientRect();
    show(pinched(begun, was, apart(event.touches)), (a.clientX + b.clientX) / 2 - frame.left, (a.clientY + b.clientY) / 2 - frame.top);
  }, { passive: false });
}
