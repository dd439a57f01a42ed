/** How long what is kept. Site settings; see README. */
export interface RetentionRules {
  /**
   * Days after a patient's last visit: cycle data, what was said of preparation, readings, details of closed
   * follow-ups.
   */
  cycleDays: number
  /** Days after it was sent or came: words and numbers of messages and replies. */
  textDays: number
  auditDays: number
}
