/** Say whether a field holds something else than the page came with. */
export function changed(field: HTMLInputElement | HTMLSelectElement): boolean {
  if (field.tagName === "SELECT") {
    return [...(field as HTMLSelectElement).options].some((option) => option.selected !== option.defaultSelected);
  }
  return field.value !== (field as HTMLInputElement).defaultValue;
}
