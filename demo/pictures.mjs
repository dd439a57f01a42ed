// Makes the pictures that README.md shows, from the demo itself: node demo/pictures.mjs (needs Chromium).
import { spawn } from 'node:child_process'
import { setTimeout as pause } from 'node:timers/promises'
import { chromium } from 'playwright-core'

const FOLDER = new URL('.', import.meta.url).pathname
const PICTURES = [
  { file: 'desk.png', path: '/desk/tidewrack/calls', width: 1080, height: 640 },
  { file: 'phone.png', link: 'Be ', width: 400, height: 640, part: '#log' },
]

const demo = spawn(process.execPath, [`${FOLDER}demo.mjs`, '--port', '0'], { stdio: ['ignore', 'pipe', 'inherit'] })
const base = await new Promise((resolve) => {
  demo.stdout.on(
    'data',
    (chunk) => /start at (http\S+)\//.exec(chunk)?.[1] && resolve(/start at (http\S+)\//.exec(chunk)[1]),
  )
})
const start = async () => (await fetch(base)).text()
while (!(await start()).includes('time goes on')) await pause(1_000)

const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM_PATH ?? '/usr/bin/chromium',
  args: ['--no-sandbox'],
})
for (const { file, path, link, part, width, height } of PICTURES) {
  const page = await browser.newPage({ viewport: { width, height } })
  const [, linked] = link ? new RegExp(`href="([^"]+)">${link}`).exec(await start()) : []
  await page.goto(base + (path ?? linked))
  const whole = part ? page.locator(part) : page
  await whole.screenshot({ path: FOLDER + file })
}
await browser.close()
demo.kill('SIGINT')
