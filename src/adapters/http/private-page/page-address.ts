import type { Deps } from '../../../flows/ports/deps.ts'
import type { Vault } from '../../vault/vault.ts'

/**
 * Address of a booking's private page. It cannot be guessed, and needs no record of its own: the mark after the dot is
 * a keyed hash.
 */
export function pageMaker(base: string, vault: Vault): Deps['pageOf'] {
  return (bookingId, phone) => {
    const print = vault.fingerprint(`page ${bookingId} ${phone}`).slice(0, 22)
    // Telephones leave a mark at the end out of the address that they make of a text.
    return `${base}/v/${bookingId.slice(2)}.${print.replace(/[-_]$/, '0')}`
  }
}
