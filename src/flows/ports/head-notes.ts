/** A head of the audit record, as it was noted away from the database. */
export interface NotedHead {
  seq: number
  hash: string
  /** The note bears the service's own signature. */
  isOurs: boolean
}

/** Where heads of the audit record are noted, out of reach of whoever owns the database. */
export interface HeadNotes {
  /** Notes where the record stands now. Never fails: what could not be noted is logged and counted. */
  note(): Promise<void>
  /**
   * What was noted at this place, oldest first; nothing where notes only go out.
   * @param newest about so many of the newest: for a page, which may not take for ever
   */
  read(newest?: number): Promise<NotedHead[]>
}
