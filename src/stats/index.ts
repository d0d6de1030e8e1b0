/** The public face of the statistics: outside this folder, nothing else of it is imported. */
export {};
