import type { Scene } from './scene.ts'

/** Words of an answer, and of courtesy beside it. Among equally long runs the earlier counts. */
const ANSWER_CLASSES = ['no', 'yes', 'nod', 'filler'] as const

/**
 * A bare yes or no: nothing else but courtesies. What it answers depends on what was asked. A nod (👍) is a yes
 * only by itself: "ok thanks 👍" is a courtesy.
 */
export function bareAnswer({ tokens, classes, isPart }: Scene): 'yes' | 'no' | undefined {
  if (isPart || tokens.length === 0) return undefined
  const found = new Set<string>()
  for (let at = 0; at < tokens.length;) {
    const ends = ANSWER_CLASSES.map((name) => classes[at]!.get(name)?.[0] ?? -1)
    const end = Math.max(...ends)
    if (end < 0) return undefined
    found.add(ANSWER_CLASSES[ends.indexOf(end)]!)
    at = end
  }
  if (found.has('yes') || (found.has('nod') && found.size === 1)) return found.has('no') ? undefined : 'yes'
  return found.has('no') ? 'no' : undefined
}
