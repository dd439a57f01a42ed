import { html, type Child, type Html } from './html.ts'

/** The head of a document for the people of a clinic: nothing for search engines. @param more styles and scripts */
export const head = (title: string, more: Child): Html => html`<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="robots" content="noindex">
<title>${title}</title>
<link rel="icon" href="data:,">
${more}
</head>`
