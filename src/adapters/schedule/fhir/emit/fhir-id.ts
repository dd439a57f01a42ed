/** Ids of ours as FHIR allows them (R4 datatype `id`: no underscore), and back. */
export const toFhirId = (id: string): string => id.replace('_', '-')

const WRITTEN = /^([a-z])-([0-9a-z]{19})$/

/** What is none of ours stays as it is. */
export const fromFhirId = (id: string): string => id.replace(WRITTEN, '$1_$2')

/** Whether it is one of ours. */
export const isOurFhirId = (id: string): boolean => WRITTEN.test(id)
