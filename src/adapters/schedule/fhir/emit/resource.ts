/** FHIR R4 as far as it is written here. */
export interface Written {
  resourceType: string
  id?: string
  [element: string]: unknown
}

export interface Coded {
  coding?: { system?: string; code: string; display?: string }[]
  text?: string
}

/** `instant`: with seconds and an offset. */
export const instantOf = (at: Date): string => at.toISOString()

/** A place of ours: the id of a clinic stands for it. */
export const placeOf = ({ id, name }: { id: string; name: string }) => ({
  ...{ reference: `Location/${encodeURIComponent(id)}`, type: 'Location', display: name },
})
