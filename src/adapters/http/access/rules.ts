import type { Permission } from '../../../domain/access/roles.ts'

/**
 * Which address asks for which permission: the one place. What is not listed does not exist, so an address that was added
 * without a rule answers 404 and a test names it.
 */
export interface Rule {
  methods: readonly string[]
  /** `{name}` is one part of the address, `*` at the end whatever follows. */
  path: string
  /** `signed-in`: anybody who is. `anyone`: everybody. */
  may: Permission | 'signed-in' | 'anyone'
  /** A list that somebody tied to a clinic may only see for that clinic, and must say so. */
  namesClinic?: boolean
  /** About all clinics at once: not for anybody tied to one. */
  everywhere?: boolean
  /** Shows no patient and changes nothing: not recorded. */
  quiet?: boolean
}

const READ = ['GET']
const ADD = ['POST']

const API: Rule[] = [
  { methods: READ, path: '/api/v1/openapi.json', may: 'signed-in', quiet: true },
  { methods: ADD, path: '/api/v1/bookings', may: 'visits:write', namesClinic: true },
  { methods: READ, path: '/api/v1/bookings', may: 'visits:read', namesClinic: true },
  { methods: READ, path: '/api/v1/bookings/{id}', may: 'visits:read' },
  { methods: ['PATCH'], path: '/api/v1/bookings/{id}', may: 'visits:write' },
  { methods: ADD, path: '/api/v1/bookings/{id}/cancel', may: 'visits:write' },
  { methods: READ, path: '/api/v1/openings', may: 'visits:read', namesClinic: true },
  { methods: ADD, path: '/api/v1/openings', may: 'visits:write', namesClinic: true },
  { methods: ['DELETE'], path: '/api/v1/openings/{id}', may: 'visits:write' },
  { methods: READ, path: '/api/v1/follow-ups', may: 'calls:read', namesClinic: true },
  { methods: ADD, path: '/api/v1/follow-ups/{id}/close', may: 'calls:write' },
  { methods: ADD, path: '/api/v1/offers/{id}/settle', may: 'visits:write' },
  { methods: READ, path: '/api/v1/languages', may: 'visits:read', quiet: true },
  { methods: READ, path: '/api/v1/clinics', may: 'clinics:read', quiet: true },
  { methods: ['PUT'], path: '/api/v1/clinics/{clinic}', may: 'clinics:write' },
  { methods: READ, path: '/api/v1/patients/{id}/export', may: 'rights:use', everywhere: true },
  { methods: ['DELETE'], path: '/api/v1/patients/{id}', may: 'rights:use', everywhere: true },
  { methods: ADD, path: '/api/v1/patients/{id}/consent/withdraw', may: 'visits:write' },
  { methods: READ, path: '/api/v1/people', may: 'people:manage', everywhere: true },
  { methods: ADD, path: '/api/v1/people', may: 'people:manage', everywhere: true },
  { methods: ADD, path: '/api/v1/people/{login}/code', may: 'people:manage', everywhere: true },
  { methods: ADD, path: '/api/v1/people/{login}/disable', may: 'people:manage', everywhere: true },
  { methods: READ, path: '/api/v1/keys', may: 'people:manage', everywhere: true },
  { methods: ADD, path: '/api/v1/keys', may: 'people:manage', everywhere: true },
  { methods: ADD, path: '/api/v1/keys/{key}/revoke', may: 'people:manage', everywhere: true },
  { methods: READ, path: '/api/v1/audit', may: 'audit:read', everywhere: true },
  { methods: READ, path: '/api/v1/audit/verdict', may: 'audit:read', everywhere: true },
  { methods: READ, path: '/api/v1/sending', may: 'service:read', quiet: true },
  { methods: ADD, path: '/api/v1/sending/stop', may: 'sending:stop', namesClinic: true },
  { methods: ADD, path: '/api/v1/sending/resume', may: 'sending:stop', namesClinic: true },
  { methods: READ, path: '/api/v1/retention', may: 'service:read', quiet: true },
]

const DESK: Rule[] = [
  { methods: READ, path: '/desk/assets/*', may: 'anyone', quiet: true },
  { methods: READ, path: '/desk/events', may: 'signed-in', quiet: true },
  { methods: READ, path: '/desk', may: 'clinics:read', quiet: true },
  { methods: READ, path: '/desk/{clinic}/day-sheet*', may: 'day-sheet:read' },
  { methods: ADD, path: '/desk/{clinic}/day-sheet*', may: 'day-sheet:write' },
  { methods: READ, path: '/desk/{clinic}/calls*', may: 'calls:read' },
  { methods: ADD, path: '/desk/{clinic}/calls*', may: 'calls:write' },
  { methods: READ, path: '/desk/{clinic}/replies*', may: 'calls:read' },
  { methods: ADD, path: '/desk/{clinic}/replies*', may: 'calls:write' },
  { methods: READ, path: '/desk/{clinic}/texts*', may: 'texts:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/texts*', may: 'texts:write' },
  { methods: READ, path: '/desk/{clinic}/sending', may: 'service:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/sending', may: 'sending:stop' },
  { methods: READ, path: '/desk/{clinic}/service*', may: 'service:read', quiet: true },
  { methods: ADD, path: '/desk/{clinic}/service*', may: 'clinics:write' },
  { methods: READ, path: '/desk/{clinic}/figures*', may: 'figures:read' },
  { methods: READ, path: '/desk/{clinic}', may: 'visits:read' },
  { methods: READ, path: '/desk/{clinic}/*', may: 'visits:read' },
  { methods: ADD, path: '/desk/{clinic}/*', may: 'visits:write' },
]

export const RULES: readonly Rule[] = [...API, ...DESK]

// Express takes capitals for small letters, so the rules must too, or `/desk/x/TEXTS` would be judged as something else.
const PATTERNS = RULES.map(({ path }) => new RegExp(`^${path.replaceAll(/[.]/g, '\\.').replaceAll(/\{(\w+)\}/g, '(?<$1>[^/]+)').replace(/\*$/, '(?:.*)')}/?$`, 'i'))

/** The first rule for a request, with what stands for its `{names}`. */
export function ruleFor(method: string, path: string): { rule: Rule; params: Record<string, string> } | null {
  const asked = method === 'HEAD' ? 'GET' : method
  for (const [index, rule] of RULES.entries()) {
    const match = rule.methods.includes(asked) ? PATTERNS[index]!.exec(path) : null
    if (match) return { rule, params: decoded(match.groups ?? {}) }
  }
  return null
}

/** @throws URIError for an address that cannot be read */
function decoded(groups: Record<string, string>): Record<string, string> {
  return Object.fromEntries(Object.entries(groups).map(([name, value]) => [name, decodeURIComponent(value)]))
}
