/** As many rows to tick as a page shows, and one press deals with; what is left follows when these are done. */
export const MOST_ROWS = 300

/** A form of the desk: every row ticked, and as many fields besides as any page has. */
export const MOST_FIELDS = MOST_ROWS + 200

export const LARGEST_FORM = '64kb'
