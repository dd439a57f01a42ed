import { spoken } from '../desk/words.ts'

/** What was done besides opening an address, by its name in the record. */
const EVENTS: Record<string, string> = {
  'person-invited': 'Person added',
  'person-reinvited': 'New one-time code made',
  'person-disabled': 'Person shut out',
  'password-chosen': 'First password chosen',
  'password-changed': 'Password changed',
  'signed-in': 'Signed in',
  'signed-in-elsewhere': 'Signed in with the organisation’s account',
  'sign-in-failed': 'Sign-in failed',
  'key-refused': 'Wrong key refused',
  'codes-begun': 'Codes asked for at sign-in',
  'codes-ended': 'Codes no longer asked for at sign-in',
  'sign-in-locked': 'Sign-in locked after wrong passwords',
  'key-made': 'Key made',
  'key-revoked': 'Key revoked',
  'patient-exported': 'All that is held on a patient handed out',
  'patient-erased': 'Patient erased',
  'audit-pruned': 'Old entries of the record cleared',
  'gateway-tested': 'Test message sent',
  'sending-stopped': 'All sending stopped',
  'sending-resumed': 'Sending let go on',
}

const DEEDS: Record<string, string> = { GET: 'Saw', POST: 'Changed', PUT: 'Set', PATCH: 'Changed', DELETE: 'Removed' }

/** "POST /desk/{clinic}/calls*" → "Changed call list"; what is not known by name is said as it stands. */
export function whatWords(what: string): string {
  const address = /^([A-Z]+) (\/\S*)$/.exec(what)
  if (!address) return EVENTS[what] ?? spoken(what)
  const [, method, path] = address
  return `${DEEDS[method!] ?? method}: ${placeWords(path!)}`
}

function placeWords(path: string): string {
  const parts = path
    .replaceAll('*', '')
    .split('/')
    .filter((part) => part !== '')
  const [area, ...rest] = parts
  const named = rest.filter((part) => !/^\{.*\}$|^v1$/.test(part)).map((part) => part.replaceAll('-', ' '))
  const where = named.join(', ')
  if (area === 'api') return `${where || 'the service'} (by a program)`
  if (area === 'settings') return `settings${where && `, ${where}`}`
  return where || 'a page of the desk'
}
