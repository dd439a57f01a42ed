/**
 * Every value a template may ask for. `rules` is none, common or other; `periods` yes or no; `emergency` none or the
 * number; `heard` told (nothing in particular), started, ended, bleeding, not-started or undone; `stays` yes or no: these
 * are for `select`.
 */
export const PLACEHOLDERS = [
  'clinic',
  'phone',
  'visit',
  'mark',
  'choices',
  'count',
  'avoid',
  'rules',
  'periods',
  'answer',
  'heard',
  'day',
  'stays',
  'page',
  'emergency',
] as const

export type Placeholder = (typeof PLACEHOLDERS)[number]
