import type { Finding } from './audit.ts'
import type { Member } from './fleet.ts'

/** @returns whether every rule was kept. */
export function reportFindings(findings: readonly Finding[]): boolean {
  for (const { rule, looked, breaches } of findings) {
    console.log(
      `${breaches.length === 0 ? 'ok    ' : 'BREACH'}  ${rule.padEnd(70)} ${String(looked).padStart(6)} looked at  ${breaches.length} breaches`,
    )
    for (const breach of breaches.slice(0, 5)) console.log(`        ${breach}`)
  }
  return findings.every(({ breaches }) => breaches.length === 0)
}

/** What the processes said about messages that a rule was broken for, and last of all. */
export function reportLogs(findings: readonly Finding[], members: readonly Member[]): void {
  const ids = new Set(
    findings.flatMap(({ breaches }) => breaches.flatMap((breach) => breach.match(/m_[a-z0-9]+/g) ?? [])),
  )
  for (const { name, process } of members) {
    const telling = process.log.filter((line) => [...ids].some((id) => line.includes(id)))
    console.log(`\n${name}:\n${[...telling, ...process.log.slice(-8)].join('\n')}`)
  }
}
