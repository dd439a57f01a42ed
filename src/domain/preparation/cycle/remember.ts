/** A function whose answers are kept: tables that are the same for everybody are made once, when first needed. */
export function remember<K, V>(make: (key: K) => V): (key: K) => V {
  const made = new Map<K, V>()
  return (key) => {
    const kept = made.get(key)
    if (kept !== undefined) return kept
    const value = make(key)
    made.set(key, value)
    return value
  }
}
