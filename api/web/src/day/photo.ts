// Photos taken on the day sheet.
import { newKey, one } from "../common.ts";
import { spoken } from "../spoken.ts";
import { dropDraft } from "./drafts.ts";
import { shrink } from "./shrink.ts";
import { speak } from "./told.ts";

/** Puts something noted into the queue; says whether there was room. */
export type Noting = (
  path: string, thing: string, words: string, body: Record<string, unknown>, more?: { photo?: Blob; corrects?: string },
) => Promise<boolean>;

/** Have photos of a stop taken, made small and noted. */
export function listenToPhotos(stop: HTMLElement, visit: string, note: Noting): void {
  const input = stop.querySelector<HTMLInputElement>("[data-photo]");
  input?.addEventListener("change", async () => {
    const file = input.files?.[0];
    if (file === undefined) return;
    const caption = one<HTMLInputElement>("[data-caption]", stop);
    let photo: Blob;
    try {
      photo = await shrink(file);
    } catch {
      speak(spoken("This phone cannot read that picture: take it as JPEG."));
      return;
    } finally {
      input.value = "";
    }
    const choice = one<HTMLSelectElement>("[data-shows]", stop);
    const shows = choice.value;
    const words = caption.value.trim();
    const path = `/jobs/${encodeURIComponent(visit)}/photos`;
    const thing = `photo ${visit} ${newKey()}`;
    if (await note(path, thing, `${visit}: ${spoken("photo of the {what}", { what: choice.selectedOptions[0]?.textContent ?? shows })}`, { shows, caption: words }, { photo })) {
      caption.value = "";
      dropDraft(caption);
    }
  });
}
