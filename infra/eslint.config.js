// Lint rules. Layer rules (who may import whom) live in tests/architecture, where they can explain themselves.
import tseslint from 'typescript-eslint'

export default tseslint.config(
  { ignores: ['node_modules/**', '.build/**', '.data/**', '.shots/**'] },
  ...tseslint.configs.recommended,
  {
    files: ['**/*.ts'],
    rules: {
      '@typescript-eslint/consistent-type-imports': 'error',
      '@typescript-eslint/no-explicit-any': 'error',
      '@typescript-eslint/no-non-null-assertion': 'off',
      '@typescript-eslint/no-unused-vars': ['error', { argsIgnorePattern: '^_' }],
      'no-restricted-syntax': ['error', { selector: 'ExportDefaultDeclaration', message: 'Use named exports only.' }],
      eqeqeq: 'error',
      'no-console': 'error',
    },
  },
  { files: ['src/cli/**', 'demo/**', 'infra/**', 'tests/**'], rules: { 'no-console': 'off' } },
  { files: ['tests/vitest.config.ts', 'infra/eslint.config.js'], rules: { 'no-restricted-syntax': 'off' } },
)
