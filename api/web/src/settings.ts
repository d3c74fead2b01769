/** Say whether a field holds something else than the page came with. */
export function changed(field: HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement): boolean {
  if (field.tagName === "SELECT") {
    const options = [...(field as HTMLSelectElement).options];
    const given = options.find((option) => option.hasAttribute("selected")) ?? options[0];
    return field.value !== given?.value;
  }
  return field.value !== (field as HTMLInputElement | HTMLTextAreaElement).defaultValue;
}
