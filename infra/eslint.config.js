// Lint rules. Who may import whom is in dependencies.cjs. Each rule of our own has a file in tests/architecture/fixtures
// that breaks it.
import tseslint from 'typescript-eslint'

const NO_DEFAULT = { selector: 'ExportDefaultDeclaration', message: 'Use named exports only.' }

/** Ways to the time, to chance, to the network and to this process that no import shows. */
const HIDDEN_GLOBALS = [
  'clearInterval',
  'clearTimeout',
  'console',
  'crypto',
  'fetch',
  'global',
  'globalThis',
  'performance',
  'process',
  'setImmediate',
  'setInterval',
  'setTimeout',
].map((name) => ({ name, message: 'What it gives comes in as a parameter, so that everything can be replayed.' }))

const NOW = 'Time comes in as a parameter, so that everything can be replayed.'
const HIDDEN_PROPERTIES = [
  { object: 'Date', property: 'now', message: NOW },
  { object: 'Date', property: 'parse', message: 'It reads a date without a zone in that of the machine.' },
  { object: 'DateTime', property: 'now', message: NOW },
  { object: 'Settings', property: 'now', message: NOW },
  { object: 'Math', property: 'random', message: 'Chance comes in as a parameter.' },
]

const ZONELESS = 'It reads a date without a zone in that of the machine.'
const TOP = ':matches(Program, Program > ExportNamedDeclaration)'
/** What changes between calls belongs to whoever makes it: a class or a function, never a module. */
const HIDDEN_STATE = 'A module keeps no state: two services in one process, as in tests, would share it.'
const PURE_SYNTAX = [
  { selector: "CallExpression[callee.name='Date']", message: NOW },
  { selector: "NewExpression[callee.name='Date'][arguments.length=0]", message: NOW },
  { selector: "NewExpression[callee.name='Date'] > Literal[raw=/^['\"]/]:first-child", message: ZONELESS },
  { selector: "NewExpression[callee.name='Date'] > TemplateLiteral:first-child", message: ZONELESS },
  {
    selector: "CallExpression[callee.object.name='DateTime'][callee.property.name=/^(utc|local)$/][arguments.length=0]",
    message: NOW,
  },
  { selector: `${TOP} > VariableDeclaration[kind=/^(let|var)$/]`, message: HIDDEN_STATE },
  {
    selector: `${TOP} > VariableDeclaration > VariableDeclarator:not([id.typeAnnotation]) > NewExpression.init[callee.name=/^(Map|Set|WeakMap|WeakSet)$/]`,
    message: `${HIDDEN_STATE} A table that never changes is declared a ReadonlyMap or ReadonlySet.`,
  },
  {
    selector: `${TOP} > VariableDeclaration > VariableDeclarator[id.typeAnnotation.typeAnnotation.typeName.name=/^(Map|Set|WeakMap|WeakSet|Array)$/]`,
    message: `${HIDDEN_STATE} A table that never changes is declared a ReadonlyMap, ReadonlySet or readonly array.`,
  },
  {
    selector: `${TOP} > VariableDeclaration > VariableDeclarator[id.typeAnnotation.typeAnnotation.type='TSArrayType']`,
    message: `${HIDDEN_STATE} A table that never changes is declared a readonly array.`,
  },
]

export default tseslint.config(
  {
    ignores: ['node_modules/**', '.build/**', '.data/**', '.shots/**', 'tests/architecture/fixtures/**'],
  },
  ...tseslint.configs.recommended,
  {
    files: ['**/*.ts'],
    languageOptions: {
      parserOptions: { project: './tsconfig.json', tsconfigRootDir: new URL('..', import.meta.url).pathname },
    },
    rules: {
      '@typescript-eslint/consistent-type-imports': 'error',
      '@typescript-eslint/no-explicit-any': 'error',
      '@typescript-eslint/no-non-null-assertion': 'off',
      '@typescript-eslint/no-unused-vars': ['error', { argsIgnorePattern: '^_' }],
      '@typescript-eslint/no-floating-promises': 'error',
      '@typescript-eslint/no-misused-promises': 'error',
      '@typescript-eslint/switch-exhaustiveness-check': 'error',
      'no-restricted-syntax': ['error', NO_DEFAULT],
      eqeqeq: 'error',
      'no-console': 'error',
    },
  },
  {
    files: ['**/src/**/*.ts'],
    rules: {
      'no-restricted-properties': [
        'error',
        { object: 'process', property: 'exit', message: 'The process is ended in main.ts only.' },
        { object: 'process', property: 'env', message: 'The environment is read in config.ts only.' },
      ],
    },
  },
  {
    files: ['**/src/{domain,flows}/**/*.ts'],
    rules: {
      'no-restricted-globals': ['error', ...HIDDEN_GLOBALS],
      'no-restricted-properties': ['error', ...HIDDEN_PROPERTIES],
      'no-restricted-syntax': ['error', NO_DEFAULT, ...PURE_SYNTAX],
    },
  },
  { files: ['src/main.ts', 'src/config.ts'], rules: { 'no-restricted-properties': 'off' } },
  { files: ['src/cli/**', 'demo/**', 'infra/**', 'tests/**'], rules: { 'no-console': 'off' } },
  { files: ['tests/**/vitest.config.ts'], rules: { 'no-restricted-syntax': 'off' } },
)
