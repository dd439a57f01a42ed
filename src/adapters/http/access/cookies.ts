import type { Request, Response } from 'express'

/** With this prefix browsers take the cookie only from us, over TLS, for the whole site (RFC 6265bis). */
const SECURE_NAME = '__Host-daysix'
const PLAIN_NAME = 'daysix'

export class SessionCookie {
  readonly #secure: boolean

  /** @param secure whether people reach the service over TLS. Without, cookies work on this machine only. */
  constructor(secure: boolean) {
    this.#secure = secure
  }

  read(request: Request): string | null {
    return readCookie(request, this.#name())
  }

  /** Ends with the browser session; how long it is worth anything is kept at our side. */
  set(response: Response, token: string): void {
    response.cookie(this.#name(), token, { httpOnly: true, secure: this.#secure, sameSite: 'lax', path: '/' })
  }

  clear(response: Response): void {
    response.clearCookie(this.#name(), { httpOnly: true, secure: this.#secure, sameSite: 'lax', path: '/' })
  }

  #name(): string {
    return this.#secure ? SECURE_NAME : PLAIN_NAME
  }
}

export function readCookie(request: Request, name: string): string | null {
  const pairs = (request.get('Cookie') ?? '').split(';').map((pair) => pair.trim())
  const found = pairs.find((pair) => pair.startsWith(`${name}=`))
  return found ? found.slice(name.length + 1) : null
}
