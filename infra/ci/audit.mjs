// Fails on known vulnerabilities of high or critical severity in what we depend on, but for reviewed exceptions.
// Exit 0: none. 1: some, or an exception that is out of date. 3: the registry could not be asked (never taken for "none").
import { spawnSync } from 'node:child_process'
import { readFileSync } from 'node:fs'

const GRAVE = new Set(['high', 'critical'])
const { exceptions } = JSON.parse(readFileSync(new URL('audit-exceptions.json', import.meta.url), 'utf8'))

/** Every grave advisory once: npm repeats it for whatever depends on the package. */
export function graveAdvisories(report) {
  const all = Object.values(report.vulnerabilities ?? {}).flatMap(({ via }) =>
    via.filter((cause) => typeof cause === 'object'),
  )
  const grave = all.filter(({ severity }) => GRAVE.has(severity))
  return [...new Map(grave.map(({ url, name, severity, title }) => [url, { url, name, severity, title }])).values()]
}

/** Exceptions hold until their date, and only with a reason. */
export function judge(advisories, excepted, today) {
  const holds = ({ url, reason, until }) => Boolean(url && reason) && until >= today
  const stale = excepted.filter((each) => !holds(each)).map(({ url }) => url)
  return { open: advisories.filter(({ url }) => !excepted.some((each) => each.url === url && holds(each))), stale }
}

function main() {
  const { stdout } = spawnSync('npm', ['audit', '--json'], { encoding: 'utf8', shell: process.platform === 'win32' })
  let report
  try {
    report = JSON.parse(stdout)
  } catch {
    report = { error: { summary: 'npm audit answered nothing that can be read' } }
  }
  if (!report.vulnerabilities) {
    process.stderr.write(
      `Not checked: ${report.error?.summary || report.message || 'the registry does not answer audits'}.\n`,
    )
    return 3
  }
  const { open, stale } = judge(graveAdvisories(report), exceptions, new Date().toISOString().slice(0, 10))
  for (const { severity, name, title, url } of open) process.stdout.write(`${severity}: ${name}: ${title} (${url})\n`)
  for (const url of stale) process.stdout.write(`exception without reason or out of date: ${url}\n`)
  if (open.length + stale.length === 0) process.stdout.write('No known vulnerability of high severity.\n')
  return open.length + stale.length === 0 ? 0 : 1
}

if (process.argv[1] === new URL(import.meta.url).pathname) process.exitCode = main()
