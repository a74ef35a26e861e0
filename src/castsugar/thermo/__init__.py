"""How a mix burns: equilibrium states, nozzle flow, second opinion."""
