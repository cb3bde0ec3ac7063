package main

// The smallest catalogue and tariffs that a fleet can be run with, to copy and
// change. Names and prices are invented.

const exampleCatalogue = `# The smallest catalogue: one module and one inverter, from their data sheets.
# Copy it over catalogue.yaml, change the figures, and add your other models.
modules:
  - {model: YOUR-MODULE, watts: 430, width_m: 1.13, height_m: 1.72, temp_coefficient_pct_per_c: -0.30}
inverters:
  - {model: YOUR-INVERTER, family: A, generation: 1, kind: micro, ac_watts: 380, efficiency_pct: 97, per_branch: 9, branch_breaker_amps: 20}
gateways:
  - {model: YOUR-GATEWAY, max_inverters: 50}
`

const exampleTariffs = `# Three common tariffs. Copy the one that fits into tariffs.yaml, change the
# prices, and name it in sites.csv (tariff_id) or in rowen.yaml (defaults.tariff_id).
tariffs:
  - id: one-price # one price; what is fed in is taken off at the same price over the year
    fixed_per_day: 0.30
    import: [{price: 0.20}]
    export: {credit: retail}
    settlement: yearly
    surplus_price: 0.03
  - id: tou-a # dearer from 4 pm to 9 pm; what is fed in earns a price of its own
    import:
      - {name: peak, hours: "16-21", price: 0.38}
      - {name: rest, price: 0.22}
    export: {credit: rate, price: 0.08}
    settlement: interval
  - id: tiers # the first 400 kWh of a month at the price, the rest dearer
    import: [{price: 0.15}]
    tiers: [{up_to_kwh_per_month: 400, add: 0}, {add: 0.06}]
    export: {credit: retail}
    settlement: monthly
`
