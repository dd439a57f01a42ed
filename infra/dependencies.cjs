// Who may import whom. Checked by `npm run lint`; each rule has a file in tests/architecture/fixtures that breaks it.

/** Layers, inmost first: each may import itself and those before it. */
const LAYERS = [
  '^src/domain/',
  '^src/flows/',
  '^src/adapters/',
  '^src/compose[.]ts$',
  '^src/service[.]ts$',
  '^src/main[.]ts$',
  '^src/cli/',
]
const SETTINGS = '^src/config(-faults)?[.]ts$'
/** Small pure libraries: no clock, no network, no files. */
const PURE = 'node_modules/(fastest-levenshtein|luxon|@types/luxon|zod|libphonenumber-js|intl-messageformat|chrono-node)/'

/** @type {import('dependency-cruiser').IConfiguration} */
module.exports = {
  forbidden: [
    {
      name: 'no-circles',
      comment: 'A file that needs a file that needs it: give what both share a file of its own. Types count too.',
      severity: 'error',
      from: {},
      to: { circular: true },
    },
    ...LAYERS.slice(0, -1).map((layer, index) => ({
      name: `inwards-only-${layer
        .replaceAll(/[^a-z]/g, ' ')
        .trim()
        .split(' ')
        .at(layer.endsWith('/') ? -1 : 1)}`,
      comment: 'Imports go inwards only: domain ← flows ← adapters ← compose ← service ← main ← cli.',
      severity: 'error',
      from: { path: layer },
      to: { path: LAYERS.slice(index + 1).join('|') },
    })),
    {
      name: 'known-places-only',
      comment: 'A file outside the layers: nothing says who may import it.',
      severity: 'error',
      from: { path: '^src/', pathNot: [...LAYERS, SETTINGS].join('|') },
      to: {},
    },
    {
      name: 'no-settings-inside',
      comment: 'Neither the domain nor the flows read settings: what they need comes in as a parameter.',
      severity: 'error',
      from: { path: '^src/(domain|flows)/' },
      to: { path: SETTINGS },
    },
    {
      name: 'pure-domain',
      comment: 'The domain uses small pure packages only, and nothing of Node.',
      severity: 'error',
      from: { path: '^src/domain/' },
      to: { pathNot: `^src/|${PURE}` },
    },
    {
      name: 'flows-without-outside',
      comment: 'Flows use Node for hashing only, and no package of the outside world.',
      severity: 'error',
      from: { path: '^src/flows/' },
      to: { pathNot: `^src/|${PURE}|^(node:)?crypto$` },
    },
    {
      name: 'pages-ask-flows',
      comment:
        'Pages and routes ask flows, or records through the ports; never the database, the queue or a gateway. The simulated phones show what the pocket gateway carried.',
      severity: 'error',
      from: { path: '^src/adapters/http/' },
      to: { path: '^src/adapters/(db|queue|gateways)/', pathNot: '^src/adapters/gateways/pocket/' },
    },
    {
      name: 'compose-constructs',
      comment: 'Only compose.ts (and a command that has no service) loads texts and opens stores and gateways.',
      severity: 'error',
      from: { path: '^src/', pathNot: '^src/(compose[.]ts$|cli/|adapters/(templates|db|gateways)/)' },
      to: {
        path: '^src/adapters/(templates/load-|db/(embedded|server|store)[.]ts|gateways/create-gateway)',
        dependencyTypesNot: ['type-only'],
      },
    },
  ],
  options: {
    tsPreCompilationDeps: true,
    tsConfig: { fileName: 'tsconfig.json' },
    doNotFollow: { path: 'node_modules' },
    enhancedResolveOptions: { exportsFields: ['exports'], conditionNames: ['import', 'types', 'node', 'default'] },
  },
}
