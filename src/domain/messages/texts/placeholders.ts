/**
 * Every value a template may ask for. For `select`: `rules` (none, common or other), `periods` and `stays` (yes or no),
 * `emergency` (none or the number), `heard` (told, which is nothing in particular, or what was understood: see
 * `HEARD`).
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
