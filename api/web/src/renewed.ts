// Parts of an open page brought up to date in place, so that whoever works on the page stays where they are.

/**
 * Fetch the page at `address` (this page, unless it says otherwise) and put the parts with these ids in place of those
 * shown; return whether all were there. Nothing changes where the service does not answer with the page.
 *
 * A link that has the focus keeps it where the new part leads to the same address, too.
 */
export async function renew(ids: readonly string[], address = location.pathname + location.search): Promise<boolean> {
  const answer = await fetch(address, { headers: { Accept: "text/html" }, credentials: "same-origin" });
  if (!answer.ok || answer.redirected) return false;
  const next = new DOMParser().parseFromString(await answer.text(), "text/html");
  const pairs = ids.map((id) => [document.getElementById(id), next.getElementById(id)] as const);
  if (pairs.some(([there, made]) => there === null || made === null)) return false;
  for (const [there, made] of pairs) {
    const at = there?.contains(document.activeElement) ? document.activeElement?.getAttribute("href") : null;
    there?.replaceChildren(...document.importNode(made as HTMLElement, true).childNodes);
    if (at != null) there?.querySelector<HTMLElement>(`a[href="${CSS.escape(at)}"]`)?.focus();
  }
  return true;
}
