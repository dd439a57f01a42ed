import { execFileSync } from 'node:child_process'
import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
// @ts-expect-error -- a script without types
import { graveAdvisories, judge } from '../../infra/ci/audit.mjs'

const root = new URL('../..', import.meta.url)
const { dependencies, devDependencies } = JSON.parse(readFileSync(new URL('package.json', root), 'utf8')) as Record<
  string,
  Record<string, string>
>

describe('what we depend on', () => {
  it('is pinned to exact versions, each with a checksum in the lock file', () => {
    for (const version of Object.values({ ...dependencies, ...devDependencies }))
      expect(version).toMatch(/^\d+\.\d+\.\d+(-[\w.]+)?$/)
    const lock = JSON.parse(readFileSync(new URL('package-lock.json', root), 'utf8')) as {
      packages: Record<string, { integrity?: string; link?: boolean; inBundle?: boolean }>
    }
    const loose = Object.entries(lock.packages).filter(
      ([path, { integrity, link, inBundle }]) => path !== '' && !integrity && !link && !inBundle,
    )
    expect(loose.map(([path]) => path)).toEqual([])
  })

  it('is listed whole in a CycloneDX bill of materials', () => {
    const bill = JSON.parse(
      execFileSync('bash', ['infra/ci/sbom.sh'], { cwd: root, encoding: 'utf8', maxBuffer: 2 ** 26 }),
    ) as { bomFormat: string; components: { name: string; version: string }[] }
    expect(bill.bomFormat).toBe('CycloneDX')
    const listed = new Map(bill.components.map(({ name, version }) => [name, version]))
    for (const [name, version] of Object.entries(dependencies!))
      expect(listed.get(name) ?? listed.get(name.split('/')[1]!)).toBe(version)
  })

  it('fails the check with a grave advisory, but for a reviewed exception that is not out of date', () => {
    // The shape of `npm audit --json`, version 2.
    const cause = { url: 'https://advisories.example/1', name: 'left', severity: 'high', title: 'x' }
    const report = {
      vulnerabilities: {
        left: { via: [cause] },
        right: { via: ['left', cause, { ...cause, url: 'https://advisories.example/2', severity: 'low' }] },
      },
    }
    const found = graveAdvisories(report)
    expect(found).toHaveLength(1)
    expect(judge(found, [], '2026-11-25').open).toHaveLength(1)
    const exception = { url: cause.url, reason: 'only used at build time', until: '2026-12-31' }
    expect(judge(found, [exception], '2026-11-25')).toEqual({ open: [], stale: [] })
    expect(judge(found, [exception], '2027-01-01')).toMatchObject({ open: [cause], stale: [cause.url] })
    expect(judge(found, [{ ...exception, reason: '' }], '2026-11-25').open).toHaveLength(1)
  })
})
