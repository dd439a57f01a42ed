import type { Response } from 'express'
import type { Html } from './html.ts'

/** Pages are for one pair of eyes and for now: nothing may keep them. */
export function sendPage(response: Response, status: number, page: Html): void {
  response.status(status).type('html').set('Cache-Control', 'no-store').send(page.text)
}
