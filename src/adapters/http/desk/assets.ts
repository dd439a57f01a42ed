import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { Router } from 'express'
import { PRINT_STYLE } from '../prints/print-file.ts'

const find = createRequire(import.meta.url)
const A_DAY_S = 86_400

/** The style sheet, our script, and htmx as its package has it. Read once, at the start. */
export function deskAssets(): Router {
  const router = Router()
  const files: Record<string, [type: string, body: Buffer]> = {
    'desk.css': ['text/css; charset=utf-8', readFileSync(new URL('./desk.css', import.meta.url))],
    'prints.css': ['text/css; charset=utf-8', Buffer.from(PRINT_STYLE)],
    'desk.js': ['text/javascript; charset=utf-8', readFileSync(new URL('desk.js', import.meta.url))],
    'htmx.js': ['text/javascript; charset=utf-8', readFileSync(find.resolve('htmx.org/dist/htmx.min.js'))],
  }
  for (const [name, [type, body]] of Object.entries(files)) {
    router.get(
      `/${name}`,
      (_request, response) =>
        void response.set({ 'Content-Type': type, 'Cache-Control': `public, max-age=${A_DAY_S}` }).send(body),
    )
  }
  return router
}
