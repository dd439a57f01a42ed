/** A piece of HTML that is safe to put into a page as it stands. Only `html` makes them. */
export class Html {
  readonly text: string

  constructor(text: string) {
    this.text = text
  }
}

export type Child = Html | string | number | null | undefined | false | readonly Child[]

const ENTITIES: Record<string, string> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;', "'": '&#39;' }

/** Text as it may stand between tags or in a quoted attribute. */
export function escapeHtml(text: string): string {
  return text.replaceAll(/[&<>"']/g, (sign) => ENTITIES[sign]!)
}

/** Template tag: everything put in is escaped, except pieces made by `html` itself. Attributes must be quoted. */
export function html(strings: TemplateStringsArray, ...children: Child[]): Html {
  return new Html(
    strings.map((string, index) => string + (index < children.length ? toText(children[index]) : '')).join(''),
  )
}

function toText(child: Child): string {
  if (child === null || child === undefined || child === false) return ''
  if (child instanceof Html) return child.text
  if (Array.isArray(child)) return child.map(toText).join('')
  return escapeHtml(String(child))
}
