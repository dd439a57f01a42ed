interface Occurrence {
  key: string
  /** The peer may not know that we have it, so that the same words coming again are the same text. */
  open: boolean
  link: object
  at: number
}

const MEMORY_MS = 600_000
const LOST_ACK_MS = 10_000

/**
 * SMPP gives replies no id. The same words are the same text told again only when the peer could not know that we had
 * it: it was not acknowledged, or the connection was lost right after. Otherwise a patient has said the same twice.
 */
export class Occurrences {
  readonly #seen = new Map<string, Occurrence>()
  readonly #newKey: () => string

  constructor(newKey: () => string) {
    this.#newKey = newKey
  }

  /** The key of a text: the old one if it is told again. `content` is whatever makes two texts the same. */
  keyOf(content: string, link: object, now: number): string {
    this.#forget(now)
    const known = this.#seen.get(content)
    const key = known?.open ? known.key : this.#newKey()
    this.#seen.delete(content)
    this.#seen.set(content, { key, open: true, link, at: now })
    return key
  }

  acknowledged(content: string, now: number): void {
    const known = this.#seen.get(content)
    if (known) Object.assign(known, { open: false, at: now })
  }

  /** The connection is gone: what was acknowledged over it a moment ago may come again. */
  lost(link: object, now: number): void {
    for (const one of this.#seen.values()) if (one.link === link && now - one.at < LOST_ACK_MS) one.open = true
  }

  #forget(now: number): void {
    for (const [content, { at }] of this.#seen) {
      if (now - at < MEMORY_MS) return
      this.#seen.delete(content)
    }
  }
}
