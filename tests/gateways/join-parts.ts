interface Piece {
  to: string
  text: string
  part?: number[]
}

/** The whole texts to a number, in the order in which they became whole. */
export function joinParts(pieces: readonly Piece[], to: string): string[] {
  const open = new Map<number, string[]>()
  const whole: string[] = []
  for (const { text, part } of pieces.filter((one) => one.to === to)) {
    const [reference = 0, total = 1, number = 1] = part ?? []
    const parts = open.get(reference) ?? []
    parts[number - 1] = text
    open.set(reference, parts)
    if (Object.keys(parts).length < total) continue
    whole.push(parts.join(''))
    open.delete(reference)
  }
  return whole
}
