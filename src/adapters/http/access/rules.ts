import type { Permission } from '../../../domain/access/roles.ts'

/** What an address asks for of whoever calls it. */
export interface Access {
  /** `signed-in`: anybody who is. `anyone`: everybody. */
  may: Permission | 'signed-in' | 'anyone'
  /** A list that somebody tied to a clinic may only see for that clinic, and must say so. */
  namesClinic?: boolean
  /** About all clinics at once: not for anybody tied to one. */
  everywhere?: boolean
  /** Shows no patient and changes nothing: not recorded. */
  quiet?: boolean
  /** Tells ids alone, nothing of whom they stand for: recorded is only what was asked for, and that first. */
  idsOnly?: boolean
}

/**
 * Which address asks for what. An operation of the API states it itself (`route({ access })`), pages in the table
 * below. What has no rule does not exist: it answers 404.
 */
export interface Rule extends Access {
  methods: readonly string[]
  /** `{name}` is one part of the address, `*` at the end whatever follows. */
  path: string
}

const READ = ['GET']
const ADD = ['POST']

/** The desk's pages; the first that fits counts. */
export const DESK_RULES: readonly Rule[] = [
  { methods: READ, path: '/desk/assets/*', may: 'anyone', quiet: true },
  { methods: READ, path: '/desk/events', may: 'signed-in', quiet: true },
  { methods: READ, path: '/desk', may: 'clinics:read', quiet: true },
  { methods: READ, path: '/desk/{clinic}/day-sheet*', may: 'day-sheet:read' },
  { methods: ADD, path: '/desk/{clinic}/day-sheet*', may: 'day-sheet:write' },
  { methods: READ, path: '/desk/{clinic}/watch', may: 'calls:read', quiet: true },
  { methods: READ, path: '/desk/{clinic}/calls*', may: 'calls:read' },
  { methods: ADD, path: '/desk/{clinic}/calls*', may: 'calls:write' },
  { methods: READ, path: '/desk/{clinic}/prints', may: 'calls:read', quiet: true },
  { methods: READ, path: '/desk/{clinic}/prints/*', may: 'calls:read' },
  { methods: READ, path: '/desk/{clinic}/replies*', may: 'calls:read' },
  { methods: ADD, path: '/desk/{clinic}/replies*', may: 'calls:write' },
  { methods: READ, path: '/desk/{clinic}/texts*', may: 'texts:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/texts*', may: 'texts:write' },
  { methods: READ, path: '/desk/{clinic}/sending', may: 'service:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/sending', may: 'sending:stop' },
  { methods: READ, path: '/desk/{clinic}/service*', may: 'service:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/service*', may: 'clinics:write' },
  { methods: READ, path: '/desk/{clinic}/near-misses*', may: 'near-misses:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/near-misses*', may: 'near-misses:write' },
  { methods: READ, path: '/desk/{clinic}/feeds', may: 'visits:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/feeds/*', may: 'visits:write' },
  { methods: READ, path: '/desk/{clinic}/figures*', may: 'figures:read' },
  { methods: READ, path: '/desk/{clinic}', may: 'visits:read' },
  { methods: READ, path: '/desk/{clinic}/*', may: 'visits:read' },
  { methods: ADD, path: '/desk/{clinic}/*', may: 'visits:write' },
]

/** The settings' pages are about all clinics: for nobody who is tied to one. */
const SETTINGS: readonly Rule[] = [
  { methods: READ, path: '/settings', may: 'clinics:write', quiet: true },
  { methods: READ, path: '/settings/clinics*', may: 'clinics:write', quiet: true },
  { methods: ADD, path: '/settings/clinics', may: 'clinics:write' },
  { methods: ADD, path: '/settings/clinics/{clinic}', may: 'clinics:write' },
  { methods: READ, path: '/settings/people', may: 'people:manage' },
  { methods: ADD, path: '/settings/people*', may: 'people:manage' },
  { methods: READ, path: '/settings/keys', may: 'people:manage' },
  { methods: ADD, path: '/settings/keys*', may: 'people:manage' },
  { methods: READ, path: '/settings/gateways', may: 'service:read', quiet: true },
  { methods: ADD, path: '/settings/gateways', may: 'clinics:write' },
  { methods: READ, path: '/settings/protocols', may: 'texts:read', quiet: true },
  { methods: READ, path: '/settings/retention', may: 'service:read', quiet: true },
  { methods: READ, path: '/settings/replies*', may: 'audit:read' },
  { methods: READ, path: '/settings/audit', may: 'audit:read', idsOnly: true },
  { methods: ADD, path: '/settings/audit', may: 'audit:read', idsOnly: true },
]
export const SETTINGS_RULES: readonly Rule[] = SETTINGS.map((rule) => ({ ...rule, everywhere: true }))

/** Pages of all kinds. */
export const PAGE_RULES: readonly Rule[] = [...DESK_RULES, ...SETTINGS_RULES]

/** Finds the rule for a request, with what stands for its `{names}`. */
export type RuleFor = (method: string, path: string) => { rule: Rule; params: Record<string, string> } | null

/** The first of these rules that fits counts. */
export function createRules(rules: readonly Rule[]): RuleFor {
  const patterns = rules.map((rule) => ({ rule, pattern: patternOf(rule) }))
  return (method, path) => {
    const asked = method === 'HEAD' ? 'GET' : method
    for (const { rule, pattern } of patterns) {
      const match = rule.methods.includes(asked) ? pattern.exec(path) : null
      if (match) return { rule, params: decoded(match.groups ?? {}) }
    }
    return null
  }
}

// Express takes capitals for small letters, so the rules must too, or `/desk/x/TEXTS` would be judged as something
// else.
function patternOf({ path }: Rule): RegExp {
  const source = path
    .replaceAll(/[.]/g, '\\.')
    .replaceAll(/\{(\w+)\}/g, '(?<$1>[^/]+)')
    .replace(/\*$/, '(?:.*)')
  return new RegExp(`^${source}/?$`, 'i')
}

/** @throws URIError for an address that cannot be read */
function decoded(groups: Record<string, string>): Record<string, string> {
  return Object.fromEntries(Object.entries(groups).map(([name, value]) => [name, decodeURIComponent(value)]))
}
