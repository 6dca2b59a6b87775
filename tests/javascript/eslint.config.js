// The linter for the pages' scripts: the usual rules, and those that keep a module readable.

import js from "@eslint/js";
import globals from "globals";

export default [
  { ignores: ["**/node_modules/**", "oralquiz/homework/assets/vosk/**"] },
  js.configs.recommended,
  {
    languageOptions: { ecmaVersion: 2023, sourceType: "module" },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      "no-unused-vars": ["error", { args: "all", argsIgnorePattern: "^_$" }],
      "no-shadow": "error",
      "no-var": "error",
      "prefer-const": "error",
      "object-shorthand": "error",
      "prefer-template": "error",
      eqeqeq: "error",
      "no-implicit-globals": "error",
      "no-use-before-define": ["error", { functions: false, variables: false }],
      complexity: ["error", { max: 14, variant: "modified" }],
      "max-len": ["error", { code: 110, ignorePattern: "@typedef|@import" }],
    },
  },
  {
    files: ["oralquiz/**/*.js"],
    ignores: ["**/worklet.js"],
    languageOptions: { globals: globals.browser },
  },
  { files: ["**/worklet.js"], languageOptions: { globals: globals.audioWorklet } },
];
