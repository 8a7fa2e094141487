// What no type tells: names that are not there, values that are never read, promises and loops gone wrong.
import js from "@eslint/js";
import globals from "globals";

export default [
  js.configs.recommended,
  {
    languageOptions: { ecmaVersion: 2022, sourceType: "module" },
    linterOptions: { reportUnusedDisableDirectives: "error" },
    rules: {
      curly: ["error", "multi-or-nest", "consistent"],
      eqeqeq: "error",
      "no-eval": "error",
      "no-implied-eval": "error",
      "no-new-func": "error",
      "no-shadow": "error",
      "no-template-curly-in-string": "error",
      "no-unmodified-loop-condition": "error",
      "no-unused-expressions": "error",
      "no-use-before-define": ["error", { functions: false, variables: false }],
      "no-var": "error",
      "prefer-const": "error",
      "require-atomic-updates": "off",
      // text of files reaches a page as text alone
      "no-restricted-properties": ["error",
        ...["innerHTML", "outerHTML", "insertAdjacentHTML", "write", "srcdoc"].map((property) => ({ property }))],
    },
  },
  { files: ["dashboard/assets/**/*.js"], languageOptions: { globals: globals.browser } },
  { files: ["tests/unit/js/**/*.mjs"], languageOptions: { globals: globals.node } },
];
