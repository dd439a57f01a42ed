/**
 * Text and attribute values fit for XML 1.0: what means something to XML is escaped, and signs that no XML document may
 * hold (XML 1.0 §2.2, production Char) are left out.
 */
export function xml(text: string): string {
  return [...text]
    .filter(mayStand)
    .join('')
    .replace(/[<>&'"]/g, (sign) => `&#${sign.charCodeAt(0)};`)
}

function mayStand(sign: string): boolean {
  const code = sign.codePointAt(0)!
  if (code < 0x20) return code === 0x9 || code === 0xa || code === 0xd
  return !(code >= 0xd800 && code <= 0xdfff) && code !== 0xfffe && code !== 0xffff
}

export const XML_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
