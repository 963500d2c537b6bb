// Small helpers to write elements: text is always text, never markup.

export type Child = Node | string | null | undefined | false;
type Attributes = Readonly<Record<string, string | boolean | number | null | undefined | ((e: Event) => void)>>;

/** Makes an element. Attributes that are functions are listeners. */
export function el<K extends keyof HTMLElementTagNameMap>(
  name: K, attributes: Attributes = {}, ...children: readonly Child[]
): HTMLElementTagNameMap[K] {
  const e = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === 'function') e.addEventListener(key, value as EventListener);
    else e.setAttribute(key, value === true ? '' : String(value));
  }
  for (const c of children) {
    if (c) e.append(c);
  }
  return e;
}

/** Says one sentence to the reader, also aloud. */
export function say(text: string): void {
  const at = document.getElementById('says');
  if (at) at.textContent = text;
}

/** Runs what a hand began; a refusal becomes its sentence beside it. */
export async function tell(where: HTMLElement, what: () => Promise<void>): Promise<void> {
  where.querySelector(':scope > .refused')?.remove();
  try {
    await what();
  } catch (e) {
    const text = e instanceof Error ? e.message : String(e);
    where.append(el('p', {class: 'refused', role: 'alert'}, text));
  }
}
