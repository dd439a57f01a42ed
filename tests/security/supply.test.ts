import { execFileSync } from 'node:child_process'
import { existsSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { parse } from 'yaml'
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

  /**
   * Packages that run a program of their own when they are installed. Looked at on 2026-11-28: `esbuild` puts its binary
   * in place (a tool of development), `msgpackr-extract` one that makes the queue's messages quicker to read; the image
   * is made with --ignore-scripts and does without both. `fhirpath` (4.11.0, a referee of tests) installs its own demo
   * where that lies beside it, which is so in its sources alone: as published it does nothing.
   */
  const MAY_RUN = ['esbuild', 'fhirpath', 'fsevents', 'msgpackr-extract']

  it('runs nothing at installation but what was looked at, and nothing at all in the image', () => {
    const { packages } = JSON.parse(readFileSync(new URL('package-lock.json', root), 'utf8')) as {
      packages: Record<string, { hasInstallScript?: boolean }>
    }
    const running = Object.entries(packages).filter(([path, { hasInstallScript }]) => path !== '' && hasInstallScript)
    const names = running.map(([path]) => path.slice(path.lastIndexOf('node_modules/') + 'node_modules/'.length))
    expect(names).toContain('esbuild')
    expect(existsSync(new URL('node_modules/fhirpath/demo', root))).toBe(false)
    expect(names.filter((name) => !MAY_RUN.includes(name))).toEqual([])
    const last = readFileSync(new URL('infra/Containerfile', root), 'utf8')
      .split(/^FROM /m)
      .at(-1)!
    expect(last).toMatch(/npm ci --omit=dev --ignore-scripts/)
  })

  it('has no exception that is out of date or without a reason', () => {
    const { exceptions } = JSON.parse(readFileSync(new URL('infra/ci/audit-exceptions.json', root), 'utf8')) as {
      exceptions: { url: string; reason: string; until: string }[]
    }
    const causes = exceptions.map(({ url }) => ({ url, name: 'any', severity: 'high', title: '' }))
    expect(judge(causes, exceptions, new Date().toISOString().slice(0, 10))).toEqual({ open: [], stale: [] })
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

describe('the containers', () => {
  const text = readFileSync(new URL('infra/compose.yaml', root), 'utf8')
  const { services } = parse(text, { merge: true }) as { services: Record<string, Record<string, unknown>> }

  // OWASP Docker Security Cheat Sheet: a user, capabilities, no new privileges, read-only file system.
  it.each(['web', 'worker'])('of a %s write nothing that stays, and can gain no rights', (name) => {
    expect(services[name]).toMatchObject({
      read_only: true,
      cap_drop: ['ALL'],
      security_opt: ['no-new-privileges:true'],
      user: 'node',
    })
    expect(services[name]).not.toHaveProperty('privileged')
    expect(services[name]).not.toHaveProperty('cap_add')
  })

  it('run as no root by the image too', () => {
    const last = readFileSync(new URL('infra/Containerfile', root), 'utf8')
      .split(/^FROM /m)
      .at(-1)!
    expect([...last.matchAll(/^USER (.*)$/gm)].map(([, user]) => user)).toEqual(['node'])
  })
})
