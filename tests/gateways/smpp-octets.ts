// What a patient's phone would send, coded without any of our own code.

export interface Octets {
  data_coding: number
  octets: Buffer
}

const GSM_SPECIAL: Record<string, number[]> = {
  '€': [0x1b, 0x65],
  '[': [0x1b, 0x3c],
  ']': [0x1b, 0x3e],
  è: [0x04],
  é: [0x05],
  à: [0x7f],
}

/** A text as a phone codes it: GSM where every sign is ASCII letters or in the small table above, else UCS-2. */
export function phoneOctets(text: string): Octets {
  const gsm = [...text].map(
    (sign) => GSM_SPECIAL[sign] ?? (/^[A-Za-z0-9 .,]$/.test(sign) ? [sign.charCodeAt(0)] : undefined),
  )
  if (gsm.every((codes) => codes !== undefined)) return { data_coding: 0, octets: Buffer.from(gsm.flat()) }
  return { data_coding: 8, octets: Buffer.from(text, 'utf16le').swap16() }
}

/** Cuts octets as a phone does for a long text, each with a concatenation header. */
export function phoneParts(
  { data_coding, octets }: Octets,
  reference: number,
): { data_coding: number; esm_class: number; octets: Buffer }[] {
  const [alone, room] = data_coding === 0 ? [160, 153] : [140, 134]
  if (octets.length <= alone) return [{ data_coding, esm_class: 0, octets }]
  const total = Math.ceil(octets.length / room)
  return Array.from({ length: total }, (_, n) => {
    const header = Buffer.from([5, 0, 3, reference, total, n + 1])
    return { data_coding, esm_class: 0x40, octets: Buffer.concat([header, octets.subarray(n * room, (n + 1) * room)]) }
  })
}
