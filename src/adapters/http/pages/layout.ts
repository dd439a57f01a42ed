import { Html, html, type Child } from './html.ts'

export interface PageFrame {
  /** BCP 47. */
  lang: string
  direction: 'ltr' | 'rtl'
  title: string
  /** Class of the body, for the style sheet. */
  kind: string
  body: Child
  /** The style sheet itself, for a page that is opened as a file; missing = linked. */
  css?: string
}

/** A whole document: no script, nothing from elsewhere, not for search engines, tells no other site where she came from. */
export function layout({ lang, direction, title, kind, body, css }: PageFrame): Html {
  return html`<!doctype html>
<html lang="${lang}" dir="${direction}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex, nofollow, noarchive">
<meta name="referrer" content="no-referrer">
<meta name="format-detection" content="telephone=no">
<title>${title}</title>
${css === undefined ? html`<link rel="stylesheet" href="/assets/daysix.css">` : new Html(`<style>${css.replaceAll('</', '<\\/')}</style>`)}
</head>
<body class="${kind}">
${body}
</body>
</html>
`
}
